"""Filters of declared pairings."""

from __future__ import annotations

import django_filters

from registry.pairings.models import Animal, Pairing


class PairingFilter(django_filters.FilterSet):
    """By species and season."""

    species = django_filters.CharFilter(field_name="version__species")

    class Meta:
        model = Pairing
        fields = ("species", "season")


class AnimalFilter(django_filters.FilterSet):
    """By species, sex and label."""

    species = django_filters.CharFilter(field_name="species")

    class Meta:
        model = Animal
        fields = ("species", "sex", "label")
