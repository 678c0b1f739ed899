"""Shape of the answer about a clutch in hand."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from registry.catalogue.api.serializers import CautionSerializer, ChancedCautionSerializer
from registry.clutches.api.serializers import HatchlingsOutSerializer
from registry.pools.api.serializers import ExplanationSerializer


class CheckParentSerializer(serializers.Serializer[Any]):
    """A parent as it was read."""

    genes = serializers.CharField()


class SurpriseSerializer(serializers.Serializer[Any]):
    """How surprising the clutch is as a whole, exactly."""

    probability = serializers.FloatField(
        allow_null=True,
        help_text="Chance of a clutch at most as likely as this one, from the parents as stated; "
        "hatchlings that they can not give are left out. null where nothing can be compared.",
    )
    hatchlings = serializers.IntegerField(help_text="Hatchlings that could be held against them.")
    uncertain = serializers.IntegerField(
        help_text="Hatchlings with an uncertain call, taken as their first possible reading."
    )
    looks_merged = serializers.IntegerField(
        help_text="Rarest looks that were counted as one; 0 where every look stood by itself."
    )
    loci_left_out = serializers.ListField(child=serializers.CharField())
    sentence = serializers.CharField()


class MissedSerializer(serializers.Serializer[Any]):
    """A combination that was possible and did not certainly hatch."""

    combination = serializers.CharField()
    chance = serializers.FloatField(help_text="For one hatchling.")
    fraction = serializers.CharField()
    hatchlings = serializers.IntegerField()
    expected = serializers.FloatField()
    chance_of_none = serializers.FloatField(help_text="Of a clutch of this size without any.")
    may_be = serializers.IntegerField(help_text="Hatchlings with uncertain calls that may be one.")
    cautions = CautionSerializer(many=True)
    explanations = ExplanationSerializer(
        many=True, help_text="By this clutch alone; for the ten most surprising ones."
    )


class ReadingChanceSerializer(serializers.Serializer[Any]):
    """One reading of a call and its chance; null where there is only one reading."""

    reading = serializers.CharField()
    chance = serializers.FloatField(allow_null=True)
    fraction = serializers.CharField(allow_null=True)
    reason = serializers.CharField(allow_null=True)


class CheckedHatchlingsSerializer(HatchlingsOutSerializer):
    """Hatchlings as they were read, with the chance of each reading."""

    readings = ReadingChanceSerializer(many=True)


class NotPossibleSerializer(serializers.Serializer[Any]):
    """A call that the parents as stated can not give."""

    call = serializers.CharField()
    count = serializers.IntegerField()
    reason = serializers.CharField()


class DoubtSerializer(serializers.Serializer[Any]):
    """What an uncertain parent probably carries now."""

    parent = serializers.ChoiceField(  # type: ignore[assignment] # the name of a field
        choices=["sire", "dam"]
    )
    gene = serializers.CharField()
    before = serializers.FloatField(help_text="Chance of carrying it before this clutch.")
    after = serializers.FloatField()
    fraction = serializers.CharField(help_text="`after`, exact.")
    verdict = serializers.ChoiceField(choices=["proven", "excluded", "open"])
    sentence = serializers.CharField()


class CheckMethodSerializer(serializers.Serializer[Any]):
    """How the numbers were obtained."""

    catalogue = serializers.CharField()
    unproven_before = serializers.FloatField(
        help_text="Chance given to an unproven gene before the clutch; a working value, no source."
    )
    uncertain_calls_used_for_parents = serializers.BooleanField()


class ClutchCheckSerializer(serializers.Serializer[Any]):
    """Everything about a clutch in hand; nothing was stored."""

    species = serializers.CharField()
    sire = CheckParentSerializer()
    dam = CheckParentSerializer()
    surprise = SurpriseSerializer()
    missed = MissedSerializer(many=True, help_text="Most surprising first.")
    hatchlings = CheckedHatchlingsSerializer(many=True)
    not_possible = NotPossibleSerializer(many=True)
    together_impossible = serializers.BooleanField(
        help_text="Each call is possible, all together are not; `parents` is then as before."
    )
    parents = DoubtSerializer(many=True)
    cautions = ChancedCautionSerializer(many=True)
    advice = serializers.CharField(allow_null=True)
    method = CheckMethodSerializer()
