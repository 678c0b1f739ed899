"""Calls about species, genes and notation."""

from __future__ import annotations

from typing import Any

from django.db.models import QuerySet
from drf_spectacular.utils import extend_schema
from rest_framework.permissions import AllowAny
from rest_framework.request import Request
from rest_framework.response import Response

from registry.api.base import ApiListView, ApiView
from registry.catalogue.api.filters import GeneFilter, SpeciesFilter
from registry.catalogue.api.serializers import (
    GeneSerializer,
    NotationInSerializer,
    NotationSerializer,
    SpeciesSerializer,
)
from registry.catalogue.models import Gene, Species
from registry.catalogue.selectors import (
    gene_answer,
    gene_list,
    notation_answer,
    species_answer,
    species_get,
    species_list,
)


class SpeciesListView(ApiListView):
    """Species of the catalogue."""

    authentication_classes = ()
    permission_classes = (AllowAny,)
    serializer_class = SpeciesSerializer
    filterset_class = SpeciesFilter
    ordering_fields = ("key", "common_name")
    ordering = ("key",)

    def get_queryset(self) -> QuerySet[Species]:
        """Every species."""
        return species_list()

    def row(self, one: Any) -> Any:
        """A species."""
        return SpeciesSerializer(species_answer(one)).data


class SpeciesView(ApiView):
    """One species."""

    authentication_classes = ()
    permission_classes = (AllowAny,)

    @extend_schema(operation_id="species_read", responses=SpeciesSerializer)
    def get(self, _request: Request, species: str) -> Response:
        """The species, with its catalogue version."""
        return Response(SpeciesSerializer(species_answer(species_get(species))).data)


class GenesView(ApiListView):
    """Genes of one species."""

    authentication_classes = ()
    permission_classes = (AllowAny,)
    serializer_class = GeneSerializer
    filterset_class = GeneFilter
    ordering_fields = ("place", "name", "locus")
    ordering = ("place",)

    def get_queryset(self) -> QuerySet[Gene]:
        """Genes of the version in force."""
        if getattr(self, "swagger_fake_view", False):
            return Gene.objects.none()
        return gene_list(self.kwargs["species"])

    def row(self, one: Any) -> Any:
        """A gene with its confidence, source and cautions."""
        return GeneSerializer(gene_answer(one)).data


class NotationView(ApiView):
    """Words of a keeper."""

    authentication_classes = ()
    permission_classes = (AllowAny,)

    @extend_schema(
        operation_id="notation_read", request=NotationInSerializer, responses=NotationSerializer
    )
    def post(self, _request: Request) -> Response:
        """What the words mean for an animal: its genes, in one canonical form."""
        return Response(NotationSerializer(notation_answer(self.body(NotationInSerializer))).data)
