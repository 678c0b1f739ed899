"""Shapes of clutches and clutch checks."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from registry.api.fields import ChanceField, CountField, IdField, ListOfField, NameField, TextField
from registry.api.serializers import StrictSerializer
from registry.clutches.choices import (
    MAX_ALTERNATIVES,
    MAX_BASIS_LENGTH,
    MAX_CODE_LENGTH,
    MAX_GROUPS,
    HatchlingSex,
    Held,
)
from registry.pairings.api.serializers import ParentSerializer, StatedParentSerializer
from registry.pairings.choices import MAX_GENES_LENGTH

_LARGEST_COUNT = 1_000_000


def _count(help_text: str) -> CountField:
    return CountField(
        min=0, max=_LARGEST_COUNT, required=False, allow_null=True, help_text=help_text
    )


class EggsSerializer(StrictSerializer):
    """Eggs of a clutch; leave out what was not counted."""

    laid = _count("All eggs, those that hatched included.")
    infertile = _count("Eggs that never developed.")
    died = _count("Eggs that developed and died.")


class HatchlingsInSerializer(StrictSerializer):
    """Hatchlings that were called alike."""

    call = TextField(max_length=MAX_GENES_LENGTH, help_text="What they look like; `normal` counts.")
    count = CountField(min=1, max=_LARGEST_COUNT)
    sex = NameField(HatchlingSex.choices, required=False)
    basis = TextField(
        max_length=MAX_BASIS_LENGTH,
        required=False,
        allow_null=True,
        help_text="What the call rests on, such as `first shed`.",
    )
    weights = ListOfField(
        child=ChanceField(),
        required=False,
        max_length=MAX_ALTERNATIVES + 1,
        help_text="Your own odds of the call and of each other reading, in this order.",
    )

    def get_fields(self) -> dict[str, serializers.Field[Any, Any, Any, Any]]:
        """Adds ``or``, which is no name in Python."""
        alternatives = ListOfField(
            child=TextField(max_length=MAX_GENES_LENGTH),
            required=False,
            max_length=MAX_ALTERNATIVES,
            help_text="Other readings of an uncertain call.",
        )
        return super().get_fields() | {"or": alternatives}


class _ClutchBody(StrictSerializer):
    """What a report and a check have in common."""

    species = TextField(max_length=60, help_text="Key of the species, see `species/`.")
    sire = ParentSerializer(required=False, allow_null=True)
    dam = ParentSerializer(required=False, allow_null=True)
    eggs = EggsSerializer(required=False, allow_null=True)
    hatchlings = ListOfField(child=HatchlingsInSerializer(), max_length=MAX_GROUPS)
    clutch_code = TextField(max_length=MAX_CODE_LENGTH, required=False, allow_null=True)

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        """Both parents are needed, unless a declared pairing names them."""
        if attrs.get("pairing") is None:
            missing = [role for role in ("sire", "dam") if attrs.get(role) is None]
            if missing:
                raise serializers.ValidationError(
                    {role: ["The field is missing."] for role in missing}, code="required"
                )
        return attrs


class ClutchInSerializer(_ClutchBody):
    """A clutch to report."""

    season = CountField(min=0, max=9999, help_text="Year in which it hatched.")
    pairing = IdField(
        of="a pairing that you declared",
        required=False,
        allow_null=True,
        help_text="A declared pairing, instead of sire and dam.",
    )


class ClutchCheckInSerializer(_ClutchBody):
    """A clutch in hand. ``season`` and ``pairing`` may be there and are not used."""

    season = CountField(min=0, max=9999, required=False, allow_null=True)
    pairing = IdField(of="a pairing that you declared", required=False, allow_null=True)

    def validate(self, attrs: dict[str, Any]) -> dict[str, Any]:
        """Nothing is looked up for a check, so the parents are always needed."""
        return super().validate(attrs | {"pairing": None})


class EggsOutSerializer(serializers.Serializer[Any]):
    """Eggs; null where they were not counted."""

    laid = serializers.IntegerField(allow_null=True)
    infertile = serializers.IntegerField(allow_null=True)
    died = serializers.IntegerField(allow_null=True)


class ReadingSerializer(serializers.Serializer[Any]):
    """Another reading of an uncertain call."""

    reading = serializers.CharField(help_text="Canonical text.")
    reason = serializers.CharField(
        allow_null=True, help_text="Why the parents can not give it; null if they can."
    )


class HatchlingsOutSerializer(serializers.Serializer[Any]):
    """Hatchlings as they were read."""

    call = serializers.CharField(help_text="As it was written.")
    count = serializers.IntegerField()
    sex = serializers.ChoiceField(choices=HatchlingSex.choices)
    basis = serializers.CharField(allow_null=True)
    reading = serializers.CharField(help_text="The call in canonical text.")
    contradicts_parents = serializers.BooleanField(
        help_text="The parents as stated can give none of the readings; kept, not pooled there."
    )
    reason = serializers.CharField(
        allow_null=True, help_text="Why the parents can not give the call; null if they can."
    )

    def get_fields(self) -> dict[str, serializers.Field[Any, Any, Any, Any]]:
        """Adds ``or``, which is no name in Python."""
        return super().get_fields() | {"or": ReadingSerializer(many=True)}


class ClutchParentSerializer(StatedParentSerializer):
    """A parent as it was read."""

    unproven = serializers.ListField(child=serializers.CharField())


class ClutchSerializer(serializers.Serializer[Any]):
    """A reported clutch."""

    id = serializers.UUIDField()
    species = serializers.CharField()
    season = serializers.IntegerField()
    sire = ClutchParentSerializer()
    dam = ClutchParentSerializer()
    eggs = EggsOutSerializer()
    hatchlings = HatchlingsOutSerializer(many=True)
    pairing = serializers.UUIDField(allow_null=True)
    declared = serializers.BooleanField(help_text="Whether the pairing was declared before.")
    clutch_code = serializers.CharField(allow_null=True)
    reported_at = serializers.DateTimeField()
    catalogue = serializers.CharField(help_text="Catalogue version it was read under.")
    revision = serializers.IntegerField(help_text="Number of the newest state; 1 is the report.")
    held = serializers.ChoiceField(
        choices=Held.choices, allow_null=True, help_text="Why it is in no pool; null if it counts."
    )
