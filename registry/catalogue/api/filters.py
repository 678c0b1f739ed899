"""Filters of the catalogue."""

from __future__ import annotations

import django_filters

from registry.catalogue.models import Gene, Species


class SpeciesFilter(django_filters.FilterSet):
    """By kind and by part of a name."""

    name = django_filters.CharFilter(field_name="common_name", lookup_expr="icontains")

    class Meta:
        model = Species
        fields = ("kind", "sex_determination", "name")


class GeneFilter(django_filters.FilterSet):
    """By mode, locus, confidence and part of a name."""

    name = django_filters.CharFilter(lookup_expr="icontains")

    class Meta:
        model = Gene
        fields = ("name", "locus", "mode", "two_copies", "sex_linked", "confidence")
