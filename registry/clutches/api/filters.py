"""Filters of a keeper's clutches."""

from __future__ import annotations

import django_filters

from registry.clutches.models import Clutch, LikelyDuplicate


class ClutchFilter(django_filters.FilterSet):
    """By species, season, declaration and shared code."""

    species = django_filters.CharFilter(field_name="version__species")
    # Not by the known pairings: that would tell which of other keepers' exist.
    pairing = django_filters.UUIDFilter(field_name="pairing_id")
    declared = django_filters.BooleanFilter(field_name="is_declared")

    class Meta:
        model = Clutch
        fields = ("species", "season", "declared", "pairing", "clutch_code")


class DuplicateFilter(django_filters.FilterSet):
    """By state."""

    class Meta:
        model = LikelyDuplicate
        fields = ("state",)
