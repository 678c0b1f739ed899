"""Calls about combinations."""

from __future__ import annotations

from typing import Any

from django.db.models import QuerySet
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework.permissions import AllowAny
from rest_framework.request import Request
from rest_framework.response import Response

from registry.api.base import ApiListView, ApiView
from registry.api.parameters import parameter_name
from registry.catalogue.selectors import species_asked
from registry.combinations.api.filters import CombinationFilter, FlagFilter
from registry.combinations.api.serializers import (
    CombinationRowSerializer,
    CombinationSerializer,
    FlagSerializer,
    HistorySerializer,
)
from registry.combinations.history import history_answer
from registry.combinations.selectors import (
    combination_answer,
    combination_list,
    flag_answer,
    flag_list,
    row_answer,
)
from registry.pools.choices import Source
from registry.pools.models import PooledTarget
from registry.pools.services import targets_refresh

SOURCE = OpenApiParameter(
    "source",
    enum=Source.values,
    description="Whose clutches count; `keepers` if not given. The two are never mixed.",
)


def _source(request: Request) -> Source:
    return Source(parameter_name(request, "source", Source.values, default=Source.KEEPERS))


class CombinationView(ApiView):
    """One combination."""

    authentication_classes = ()
    permission_classes = (AllowAny,)
    known_parameters = ("source",)

    @extend_schema(
        operation_id="combination_read",
        parameters=[SOURCE],
        responses={200: CombinationSerializer},
    )
    def get(self, request: Request, species: str, genes: str) -> Response:
        """Has anyone produced it, how often against expectation? 200 also if nobody reported."""
        answer = combination_answer(species, genes, _source(request))
        return Response(CombinationSerializer(answer).data)


class HistoryView(ApiView):
    """Evidence on one combination over time."""

    authentication_classes = ()
    permission_classes = (AllowAny,)
    known_parameters = ("source",)

    @extend_schema(
        operation_id="combination_history", parameters=[SOURCE], responses=HistorySerializer
    )
    def get(self, request: Request, species: str, genes: str) -> Response:
        """The evidence after each clutch, in order of arrival; for plots."""
        answer = history_answer(species, genes, _source(request))
        return Response(HistorySerializer(answer).data)


class CombinationsView(ApiListView):
    """Combinations that somebody's clutch informs."""

    authentication_classes = ()
    permission_classes = (AllowAny,)
    known_parameters = ("source",)
    serializer_class = CombinationRowSerializer
    filterset_class = CombinationFilter
    ordering_fields = {
        "combination": "combination",
        "hatchlings": "n_hatchlings",
        "expected": "expected",
        "p_value": "log10_p_value",
        "e_value": "log10_e_value",
    }
    ordering = ("-n_hatchlings",)
    # Not the row's number: cursors can be read, and numbers are given out in order of reports.
    page_key = ("species_id", "key")

    def get_queryset(self) -> QuerySet[PooledTarget]:
        """Rows that reflect every acknowledged clutch."""
        if getattr(self, "swagger_fake_view", False):
            return PooledTarget.objects.none()
        source = _source(self.request)
        species = species_asked(self.request.query_params.get("species"))
        targets_refresh(species=species, source=source)
        return combination_list(source, species)

    def row(self, one: Any) -> Any:
        """One combination."""
        return CombinationRowSerializer(row_answer(one)).data

    @extend_schema(
        operation_id="combination_list",
        parameters=[SOURCE],
        responses={200: CombinationRowSerializer},
    )
    def get(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """A page of combinations."""
        return super().get(request, *args, **kwargs)


class FlagsView(ApiListView):
    """Combinations that are flagged or on watch, strongest first."""

    authentication_classes = ()
    permission_classes = (AllowAny,)
    known_parameters = ("source",)
    serializer_class = FlagSerializer
    filterset_class = FlagFilter
    ordering = ("-log10_e_value",)
    page_key = ("species_id", "key")

    def get_queryset(self) -> QuerySet[PooledTarget]:
        """Those on watch."""
        if getattr(self, "swagger_fake_view", False):
            return PooledTarget.objects.none()
        source = _source(self.request)
        species = species_asked(self.request.query_params.get("species"))
        targets_refresh(species=species, source=source)
        return flag_list(source, species)

    def row(self, one: Any) -> Any:
        """One combination on watch."""
        return FlagSerializer(flag_answer(one)).data

    @extend_schema(
        operation_id="flag_list",
        parameters=[SOURCE],
        responses={200: FlagSerializer},
    )
    def get(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """A page of combinations flagged or on watch; the strongest evidence comes first."""
        return super().get(request, *args, **kwargs)
