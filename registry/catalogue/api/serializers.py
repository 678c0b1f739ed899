"""Shapes of the catalogue."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from registry.api.fields import TextField
from registry.api.serializers import StrictSerializer
from registry.catalogue.choices import (
    Confidence,
    Mode,
    SexDetermination,
    SpeciesKind,
    TwoCopies,
)


class CautionSerializer(serializers.Serializer[Any]):
    """A known concern, with its source."""

    about = serializers.CharField(help_text="The genes it is about.")
    text = serializers.CharField()
    source = serializers.CharField()  # type: ignore[assignment] # the name of a field


class ChancedCautionSerializer(CautionSerializer):
    """A concern that a hatchling can fall under, with the chance of one hatchling."""

    chance = serializers.FloatField()
    fraction = serializers.CharField()


class SpeciesSerializer(serializers.Serializer[Any]):
    """A species in the catalogue."""

    species = serializers.CharField(help_text="Key, as used in every call.")
    common_name = serializers.CharField()
    scientific_name = serializers.CharField()
    sex_determination = serializers.ChoiceField(choices=SexDetermination.choices)
    kind = serializers.ChoiceField(choices=SpeciesKind.choices)
    catalogue = serializers.CharField(help_text="Version in force.")
    loaded_at = serializers.DateTimeField()


class GeneSerializer(serializers.Serializer[Any]):
    """A gene of the version in force."""

    name = serializers.CharField()
    locus = serializers.CharField(help_text="Genes of one locus are one allelic series.")
    aliases = serializers.ListField(child=serializers.CharField())
    super_names = serializers.ListField(child=serializers.CharField())
    mode = serializers.ChoiceField(choices=Mode.choices)
    two_copies = serializers.ChoiceField(choices=TwoCopies.choices)
    sex_linked = serializers.BooleanField()
    confidence = serializers.ChoiceField(choices=Confidence.choices)
    why = serializers.CharField(help_text="Why the confidence is what it is; may be empty.")
    source = serializers.CharField()  # type: ignore[assignment] # the name of a field
    cautions = CautionSerializer(many=True)
    catalogue = serializers.CharField()


class NotationInSerializer(StrictSerializer):
    """Words to read."""

    species = TextField(max_length=60)
    text = TextField(max_length=500, help_text="Such as `super tidemark het pale reed`.")


class ReadGeneSerializer(serializers.Serializer[Any]):
    """One gene as it was read."""

    gene = serializers.CharField()
    locus = serializers.CharField()
    copies = serializers.IntegerField(help_text="1 or 2.")
    chance = serializers.FloatField(
        allow_null=True, help_text="Of carrying it; 1 if certain, null for a number not given."
    )
    fraction = serializers.CharField(allow_null=True)
    shows = serializers.BooleanField(help_text="Whether it can be seen in this animal.")


class NotationSerializer(serializers.Serializer[Any]):
    """What the words mean."""

    species = serializers.CharField()
    text = serializers.CharField()
    genes = ReadGeneSerializer(many=True)
    canonical = serializers.CharField()
    names = serializers.ListField(
        child=serializers.CharField(), help_text="Trade names of just these genes."
    )
    catalogue = serializers.CharField()
