"""Shapes of answers about combinations."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from registry.catalogue.api.serializers import CautionSerializer
from registry.combinations.choices import Produced, Relation
from registry.pools.api.serializers import ExplanationSerializer
from registry.pools.choices import ExplanationName, Source, State


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


class DeclaredPairingsSerializer(serializers.Serializer[Any]):
    """The reporting gap: pairings declared for seasons that are over."""

    declared = serializers.IntegerField(help_text="Whose clutches would inform the combination.")
    without_outcome = serializers.IntegerField(help_text="Of these, without a clutch.")
    share_without_outcome = serializers.FloatField()


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
    e_value = serializers.CharField()
    many_combinations = serializers.CharField()
    priors = serializers.DictField(
        child=serializers.FloatField(), help_text="Prior probability of each explanation."
    )
    families_too_large = serializers.IntegerField(
        help_text="Families whose shared uncertain parents were too many to sum over: their pairs "
        "are taken as if they shared no animal, and a pair that is too much by itself is left out."
    )


class EvidenceSerializer(serializers.Serializer[Any]):
    """Evidence of a shortage. E-values: 20 or more is reached by luck once in twenty at most."""

    e_value = serializers.FloatField(help_text="Whole pool, valid at every look; at most 1e300.")
    e_value_declared_only = serializers.FloatField(
        allow_null=True,
        help_text="Clutches declared before hatching alone; null without any, and for one or two "
        "keepers.",
    )
    e_value_specific = serializers.FloatField(
        allow_null=True,
        help_text="Given the margins of each clutch: blind to a single gene that falls short. "
        "null where the combination has no two independent parts.",
    )
    without_top_keeper = serializers.FloatField(
        allow_null=True,
        help_text="Without the most influential keeper; null for one or two keepers, and below 20.",
    )
    unreported_successes_to_undo = serializers.IntegerField(
        help_text="Hatchlings that nobody reported and that would take the evidence below 20."
    )
    more_hatchlings_to_signal = serializers.IntegerField(
        allow_null=True, help_text="null unless it is too early."
    )
    sentence = serializers.CharField()
    specific = serializers.CharField(allow_null=True)


class RecoverySerializer(serializers.Serializer[Any]):
    """How often it hatched for every one expected, with its interval.

    After allowing for parents that do not carry what they should; 5 means 5 or more.
    """

    estimate = serializers.FloatField()
    low = serializers.FloatField()
    high = serializers.FloatField()
    level = serializers.FloatField()
    sentence = serializers.CharField()


class ExplainedBySerializer(serializers.Serializer[Any]):
    """Another combination, a part or a larger one, that explains the shortage."""

    combination = serializers.CharField()
    recovery = serializers.FloatField()
    e_value_beyond = serializers.FloatField(help_text="Evidence beyond that one.")
    sentence = serializers.CharField()


class CombinationSerializer(serializers.Serializer[Any]):
    """Everything known of one combination."""

    species = serializers.CharField()
    combination = serializers.CharField(help_text="Canonical text.")
    names = serializers.ListField(child=serializers.CharField(), help_text="Trade names.")
    state = serializers.ChoiceField(choices=State.choices)
    produced = ProducedSerializer()
    tried = TriedSerializer()
    declared_pairings = DeclaredPairingsSerializer(
        allow_null=True, help_text="Null below three keepers, and for published crosses."
    )
    evidence = EvidenceSerializer()
    recovery = RecoverySerializer(allow_null=True)
    explanations = ExplanationSerializer(
        many=True,
        help_text="Those that can apply, most probable first; sum to 1. "
        "One alone, `as-catalogued`, where it hatched as often as expected.",
    )
    next_step = serializers.CharField(
        allow_null=True,
        help_text="What would tell the two likeliest apart, without harm; null where nothing is "
        "missing.",
    )
    explained_by = ExplainedBySerializer(allow_null=True)
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
    e_value = serializers.FloatField()


class FlagSerializer(CombinationRowSerializer):
    """A combination that is flagged or on watch."""

    reason = serializers.CharField()
    explanation = serializers.ChoiceField(choices=ExplanationName.choices, allow_null=True)
    explanation_probability = serializers.FloatField(allow_null=True)


class HistoryPointSerializer(serializers.Serializer[Any]):
    """The evidence after one clutch."""

    clutches = serializers.IntegerField()
    hatchlings = serializers.IntegerField()
    hits = serializers.IntegerField(help_text="Certain ones.")
    expected = serializers.FloatField()
    e_value = serializers.FloatField()


class HistorySerializer(serializers.Serializer[Any]):
    """The evidence over time, in order of arrival; no dates."""

    species = serializers.CharField()
    combination = serializers.CharField()
    threshold = serializers.FloatField(help_text="E-value from which on it is on watch.")
    points = HistoryPointSerializer(many=True)
    hidden = serializers.BooleanField(
        help_text="True if fewer than three keepers reported: then there are no points."
    )
    first_clutch = serializers.IntegerField(
        help_text="Number of the first point's clutch; later than 1 where the oldest are left out."
    )
