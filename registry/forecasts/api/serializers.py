"""Shapes of forecasts."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from registry.api.fields import CountField, ListOfField, TextField
from registry.api.serializers import StrictSerializer
from registry.catalogue.api.serializers import CautionSerializer, ChancedCautionSerializer
from registry.forecasts.choices import LEVELS, MAX_CLUTCH_SIZE, MAX_LOOKS, MAX_WANTED
from registry.pairings.api.serializers import ParentSerializer
from registry.pairings.choices import MAX_GENES_LENGTH, Sex


class ForecastInSerializer(StrictSerializer):
    """Two parents, and what is hoped for."""

    species = TextField(max_length=60)
    sire = ParentSerializer()
    dam = ParentSerializer()
    clutch_size = CountField(
        min=1,
        max=MAX_CLUTCH_SIZE,
        required=False,
        allow_null=True,
        help_text="Hatchlings, for the chance of at least one.",
    )
    wanted = ListOfField(
        child=TextField(max_length=MAX_GENES_LENGTH),
        required=False,
        max_length=MAX_WANTED,
        help_text="Combinations; other genes may show besides. A het may be asked for as well.",
    )
    most_looks = CountField(
        min=1, max=MAX_LOOKS, required=False, help_text="Length of `looks`; 200 if not given."
    )


class ForecastParentSerializer(serializers.Serializer[Any]):
    """A parent as it was read."""

    genes = serializers.CharField(help_text="Canonical text.")
    unproven = serializers.ListField(
        child=serializers.CharField(), help_text="Taken as stated in this forecast."
    )


class HiddenSerializer(serializers.Serializer[Any]):
    """Something that animals of a look may carry unseen."""

    text = serializers.CharField(help_text="As the trade writes it: `66% het Pale Reed`.")
    genes = serializers.ListField(child=serializers.CharField())
    kind = serializers.ChoiceField(choices=["het", "two-copies", "genotype"])
    chance = serializers.FloatField(help_text="Among animals of this look.")
    fraction = serializers.CharField()


class LookSerializer(serializers.Serializer[Any]):
    """One look of a hatchling."""

    look = serializers.CharField()
    sex = serializers.ChoiceField(
        choices=Sex.choices,
        allow_null=True,
        help_text="Set where the sexes differ; the chance is then of look and sex together.",
    )
    chance = serializers.FloatField()
    fraction = serializers.CharField()
    hidden = HiddenSerializer(many=True)


def _waits() -> dict[str, serializers.Field[Any, Any, Any, Any]]:
    return {
        str(level): serializers.IntegerField(
            allow_null=True, help_text="null where no number is enough."
        )
        for level in LEVELS
    }


class WaitsSerializer(serializers.Serializer[Any]):
    """Hatchlings needed for at least one, by per cent."""

    def get_fields(self) -> dict[str, serializers.Field[Any, Any, Any, Any]]:
        """One field a level; a name of digits is no name in Python."""
        return _waits()


class WantedSerializer(serializers.Serializer[Any]):
    """What can be said of one wanted combination."""

    genes = serializers.CharField(help_text="As it was written.")
    combination = serializers.CharField(help_text="Canonical text.")
    chance = serializers.FloatField(help_text="For one hatchling.")
    fraction = serializers.CharField()
    at_least_one = serializers.FloatField(
        allow_null=True, help_text="In a clutch of `clutch_size`; null without one."
    )
    most_ever = serializers.FloatField(
        help_text="Chance that these parents can give it at all, however many hatch."
    )
    hatchlings_for = WaitsSerializer()
    cautions = CautionSerializer(many=True, help_text="Known concerns about this combination.")


class ForecastMethodSerializer(serializers.Serializer[Any]):
    """How the numbers were obtained."""

    catalogue = serializers.CharField()
    unproven = serializers.CharField()
    uncertain_parents = serializers.CharField()


class ForecastSerializer(serializers.Serializer[Any]):
    """What a pairing can give."""

    species = serializers.CharField()
    sire = ForecastParentSerializer()
    dam = ForecastParentSerializer()
    clutch_size = serializers.IntegerField(allow_null=True)
    looks = LookSerializer(many=True, help_text="Likeliest first.")
    looks_total = serializers.IntegerField()
    chance_listed = serializers.FloatField(help_text="Sum over the looks that are listed.")
    wanted = WantedSerializer(many=True)
    cautions = ChancedCautionSerializer(many=True)
    advice = serializers.CharField(allow_null=True)
    method = ForecastMethodSerializer()
