"""Filters of combinations."""

from __future__ import annotations

from typing import Any

import django_filters
from django.db.models import QuerySet

from registry.combinations.choices import Produced
from registry.combinations.selectors import gene_wanted
from registry.pools.choices import State
from registry.pools.models import PooledTarget


class _TargetFilter(django_filters.FilterSet):
    """By species, gene and size."""

    species = django_filters.CharFilter(field_name="species")
    gene = django_filters.CharFilter(
        method="filter_gene",
        help_text="Part of the combination's text; with `species` also any name of a gene.",
    )
    size = django_filters.NumberFilter(
        field_name="n_factors", min_value=1, max_value=3, help_text="Genes: 1, 2 or 3."
    )
    min_hatchlings = django_filters.NumberFilter(
        field_name="n_hatchlings", lookup_expr="gte", min_value=0
    )

    def filter_gene(self, rows: QuerySet[Any], _name: str, value: str) -> QuerySet[Any]:
        """By a part of the text, or by what the text means in the species asked for."""
        return rows.filter(gene_wanted((self.data or {}).get("species"), value))


class FlagFilter(_TargetFilter):
    """Filters of what is on watch."""

    class Meta:
        model = PooledTarget
        fields = ("species", "gene", "size", "min_hatchlings")


class CombinationFilter(_TargetFilter):
    """Also by state and by whether it was produced."""

    state = django_filters.ChoiceFilter(choices=State.choices, field_name="shown_state")
    produced = django_filters.ChoiceFilter(choices=Produced.choices, method="filter_produced")

    class Meta:
        model = PooledTarget
        fields = ("species", "gene", "size", "min_hatchlings", "state", "produced")

    def filter_produced(self, rows: QuerySet[Any], _name: str, value: str) -> QuerySet[Any]:
        """By the answer to "has anyone produced it"."""
        wanted = {
            Produced.YES: {"n_hits__gt": 0},
            Produced.UNCERTAIN: {"n_hits": 0, "n_hits_possible__gt": 0},
            Produced.NO: {"n_hits_possible": 0},
        }
        return rows.filter(**wanted[Produced(value)])
