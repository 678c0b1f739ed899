"""Shapes that answers about pools and about single clutches share."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from registry.pools.choices import ExplanationName


class ExplanationSerializer(serializers.Serializer[Any]):
    """One explanation with its probability among those that can apply."""

    name = serializers.ChoiceField(choices=ExplanationName.choices)
    probability = serializers.FloatField()
    called_as = serializers.CharField(required=False, help_text="What a look-alike is called.")
    gene = serializers.CharField(required=False, help_text="The gene that falls short.")
    recombination_fraction = serializers.FloatField(required=False, help_text="If linked.")
    sentence = serializers.CharField()
