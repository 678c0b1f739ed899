"""Shapes of what is said of a clutch later: revisions, second opinions, duplicates, look-alikes."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from registry.api.fields import CountField, NameField, TextField
from registry.api.serializers import StrictSerializer
from registry.clutches.api.serializers import (
    EggsOutSerializer,
    EggsSerializer,
    HatchlingsInSerializer,
    HatchlingsOutSerializer,
)
from registry.clutches.choices import (
    MAX_BASIS_LENGTH,
    MAX_CODE_LENGTH,
    MAX_GROUPS,
    MAX_SHEDS,
    Author,
    DuplicateReason,
    DuplicateState,
    HatchlingSex,
    RevisionKind,
    Verdict,
)
from registry.pairings.choices import MAX_GENES_LENGTH

_GIVEN_KINDS = [RevisionKind.SHED, RevisionKind.CORRECTION]


class RevisedHatchlingsSerializer(HatchlingsInSerializer):
    """Hatchlings as they are called now."""

    was = TextField(
        max_length=MAX_GENES_LENGTH,
        required=False,
        allow_null=True,
        help_text="What these were called before, where it can not be told from the counts.",
    )


def _sheds() -> CountField:
    return CountField(
        min=0,
        max=MAX_SHEDS,
        required=False,
        allow_null=True,
        help_text="Sheds since hatching when they were looked at.",
    )


def _basis() -> TextField:
    return TextField(
        max_length=MAX_BASIS_LENGTH,
        required=False,
        allow_null=True,
        help_text="What it rests on, in your own words; shown to you alone.",
    )


class RevisionInSerializer(StrictSerializer):
    """A clutch looked at again: all hatchlings with their calls of now, or a second opinion."""

    kind = NameField([str(one) for one in _GIVEN_KINDS], required=False, allow_null=True)
    sheds = _sheds()
    basis = _basis()
    hatchlings = serializers.ListField(
        child=RevisedHatchlingsSerializer(), max_length=MAX_GROUPS, required=False, allow_null=True
    )
    eggs = EggsSerializer(required=False, allow_null=True)
    opinion = serializers.UUIDField(
        required=False, allow_null=True, help_text="A second opinion to take over."
    )

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        """Something must be new, and an opinion brings its own calls."""
        has = {name for name in ("hatchlings", "eggs", "opinion") if attrs.get(name) is not None}
        if not has:
            raise serializers.ValidationError(
                {"hatchlings": ["The field is missing; eggs or opinion will do as well."]},
                code="required",
            )
        if {"hatchlings", "opinion"} <= has:
            raise serializers.ValidationError(
                {"opinion": ["An opinion brings its own hatchlings: leave one of the two out."]}
            )
        return attrs


class RevisionSerializer(serializers.Serializer[Any]):
    """One state of a clutch."""

    number = serializers.IntegerField(help_text="1 is the report.")
    made_at = serializers.DateTimeField()
    kind = serializers.ChoiceField(choices=RevisionKind.choices)
    by = serializers.ChoiceField(choices=Author.choices)
    sheds = serializers.IntegerField(allow_null=True)
    basis = serializers.CharField(allow_null=True)
    sire = serializers.CharField(help_text="Genes as stated then, canonical.")
    dam = serializers.CharField()
    eggs = EggsOutSerializer()
    hatchlings = HatchlingsOutSerializer(many=True)


class OpinionInSerializer(StrictSerializer):
    """What you call the hatchlings of somebody else's clutch, whose code you were told."""

    species = TextField(max_length=60)
    season = CountField(min=0, max=9999)
    clutch_code = TextField(max_length=MAX_CODE_LENGTH)
    hatchlings = serializers.ListField(
        child=HatchlingsInSerializer(), min_length=1, max_length=MAX_GROUPS
    )
    sheds = _sheds()
    basis = _basis()


class OpinionGivenSerializer(serializers.Serializer[Any]):
    """That the opinion was handed over; nothing of the clutch is told."""

    id = serializers.UUIDField()
    given_on = serializers.DateField()


class OpinionCallSerializer(serializers.Serializer[Any]):
    """Hatchlings as another keeper calls them."""

    call = serializers.CharField(help_text="Canonical text.")
    count = serializers.IntegerField()
    sex = serializers.ChoiceField(choices=HatchlingSex.choices)

    def get_fields(self) -> dict[str, serializers.Field[Any, Any, Any, Any]]:
        """Adds ``or``, which is no name in Python."""
        return super().get_fields() | {"or": serializers.ListField(child=serializers.CharField())}


class OpinionSerializer(serializers.Serializer[Any]):
    """A second opinion on a clutch of yours. Whose it is, nobody is told."""

    id = serializers.UUIDField()
    given_on = serializers.DateField()
    sheds = serializers.IntegerField(allow_null=True)
    basis = serializers.CharField(allow_null=True)
    hatchlings = OpinionCallSerializer(many=True)
    taken_over_as = serializers.IntegerField(
        allow_null=True, help_text="The revision that took it over; null while it waits."
    )


class VerdictSerializer(StrictSerializer):
    """Whether two reports are of one clutch."""

    verdict = NameField(Verdict.values)


class DuplicateSerializer(serializers.Serializer[Any]):
    """Two reports that may be of one clutch; of somebody else's, nothing but that it is."""

    id = serializers.UUIDField()
    earlier = serializers.UUIDField(allow_null=True, help_text="Null if it is not yours.")
    later = serializers.UUIDField(
        allow_null=True, help_text="In no pool unless `dismissed`. Null if it is not yours."
    )
    state = serializers.ChoiceField(choices=DuplicateState.choices)
    reason = serializers.ChoiceField(choices=DuplicateReason.choices)
    found_on = serializers.DateField()
    you_say = serializers.ChoiceField(choices=Verdict.choices, allow_null=True)


class LookAlikeShedsSerializer(serializers.Serializer[Any]):
    """How many of these calls changed after so many sheds."""

    sheds = serializers.IntegerField()
    hatchlings = serializers.IntegerField()


class LookAlikeSerializer(serializers.Serializer[Any]):
    """Hatchlings of one call that a later look called otherwise."""

    called = serializers.CharField(help_text="What they were called at first.")
    became = serializers.CharField(help_text="What a later look called them.")
    hatchlings = serializers.IntegerField()
    looked_again = serializers.IntegerField(
        help_text="Hatchlings of that call that were looked at again, whatever came of it."
    )
    share = serializers.FloatField()
    keepers = serializers.IntegerField()
    by_sheds = LookAlikeShedsSerializer(
        many=True, help_text="Sheds after which three keepers or more changed it."
    )
