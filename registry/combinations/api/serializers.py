"""Shapes of answers about combinations."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from registry.catalogue.api.serializers import CautionSerializer
from registry.combinations.choices import Produced, Relation
from registry.pools.choices import Source, State


class ProducedSerializer(serializers.Serializer[Any]):
    """Whether anyone has produced it."""

    answer = serializers.ChoiceField(choices=Produced.choices)
    hatchlings = serializers.IntegerField(help_text="Certain ones.")
    hatchlings_if_uncertain_count = serializers.IntegerField()
    clutches = serializers.IntegerField(help_text="Clutches with a certain one.")
    keepers = serializers.IntegerField(allow_null=True, help_text="null for one or two.")
    first_season = serializers.IntegerField(
        allow_null=True, help_text="Year; null if fewer than three keepers produced it."
    )


class TriedSerializer(serializers.Serializer[Any]):
    """How often it could have hatched."""

    clutches = serializers.IntegerField(help_text="Clutches whose parents could give it.")
    hatchlings = serializers.IntegerField()
    keepers = serializers.IntegerField(allow_null=True, help_text="null for one or two.")
    expected = serializers.FloatField(help_text="Hatchlings, by the genetics as stated.")
    chance_of_none = serializers.FloatField(help_text="Of not a single one, by luck.")
    p_value = serializers.FloatField(
        help_text="Chance of so few or fewer by luck, uncertain ones counted in; exact."
    )


class RelatedSerializer(serializers.Serializer[Any]):
    """A related combination that was reported."""

    combination = serializers.CharField()
    relation = serializers.ChoiceField(choices=Relation.choices)
    state = serializers.ChoiceField(choices=State.choices)
    produced = serializers.ChoiceField(choices=Produced.choices)
    hatchlings = serializers.IntegerField()
    hits = serializers.IntegerField()
    expected = serializers.FloatField()


class CitationSerializer(serializers.Serializer[Any]):
    """A publication."""

    citation = serializers.CharField()
    from_memory = serializers.BooleanField(help_text="The figures were not read at a source.")


class PublishedSerializer(serializers.Serializer[Any]):
    """What published crosses say; never part of the keepers' numbers."""

    state = serializers.ChoiceField(choices=State.choices)
    clutches = serializers.IntegerField()
    hatchlings = serializers.IntegerField()
    produced = serializers.IntegerField()
    expected = serializers.FloatField()
    p_value = serializers.FloatField()
    citations = CitationSerializer(many=True)


class MethodSerializer(serializers.Serializer[Any]):
    """How the numbers were obtained."""

    catalogue = serializers.CharField()
    source = serializers.ChoiceField(  # type: ignore[assignment] # the name of a field
        choices=Source.choices
    )
    pool = serializers.IntegerField(help_text="Clutches in the pool.")
    p_value = serializers.CharField()
    parents = serializers.CharField()
    families_too_large = serializers.IntegerField(
        help_text="Families whose shared uncertain parents could not be summed over exactly."
    )


class CombinationSerializer(serializers.Serializer[Any]):
    """Everything known of one combination."""

    species = serializers.CharField()
    combination = serializers.CharField(help_text="Canonical text.")
    names = serializers.ListField(child=serializers.CharField(), help_text="Trade names.")
    state = serializers.ChoiceField(choices=State.choices)
    produced = ProducedSerializer()
    tried = TriedSerializer()
    related = RelatedSerializer(many=True)
    published = PublishedSerializer()
    cautions = CautionSerializer(many=True)
    advice = serializers.CharField(allow_null=True)
    method = MethodSerializer()


class CombinationRowSerializer(serializers.Serializer[Any]):
    """One combination of a list."""

    species = serializers.CharField()
    combination = serializers.CharField()
    state = serializers.ChoiceField(choices=State.choices)
    produced = ProducedSerializer()
    tried = TriedSerializer()


class FlagSerializer(CombinationRowSerializer):
    """A combination on watch."""

    reason = serializers.CharField()
