"""Calls about declared pairings."""

from __future__ import annotations

import uuid
from typing import Any

from django.db.models import QuerySet
from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from registry.api.base import ApiListView, ApiView
from registry.catalogue.selectors import species_asked
from registry.keepers.permissions import IsKeeper, keeper_of
from registry.pairings.api.filters import AnimalFilter, PairingFilter
from registry.pairings.api.serializers import (
    AnimalSerializer,
    PairingInSerializer,
    PairingSerializer,
)
from registry.pairings.models import Animal, Pairing
from registry.pairings.selectors import (
    animal_answer,
    animal_get,
    animal_list,
    pairing_answer,
    pairing_get,
    pairing_list,
)
from registry.pairings.services import pairing_declare
from registry.traffic.idempotency import answered_once


class PairingsView(ApiListView):
    """Pairings declared before hatching."""

    permission_classes = (IsKeeper,)
    serializer_class = PairingSerializer
    filterset_class = PairingFilter
    ordering_fields = ("declared_at", "season")
    ordering = ("-declared_at",)

    def get_queryset(self) -> QuerySet[Pairing]:
        """The keeper's own."""
        if getattr(self, "swagger_fake_view", False):
            return Pairing.objects.none()
        species_asked(self.request.query_params.get("species"))
        return pairing_list(keeper_of(self.request))

    def row(self, one: Any) -> Any:
        """A pairing as its keeper sees it."""
        return PairingSerializer(pairing_answer(one)).data

    @extend_schema(
        operation_id="pairing_declare",
        request=PairingInSerializer,
        responses={201: PairingSerializer},
    )
    @answered_once
    def post(self, request: Request) -> Response:
        """Declare a pairing. Clutches that join it can not have been chosen by their outcome."""
        pairing = pairing_declare(keeper_of(request), self.body(PairingInSerializer))
        answer = pairing_answer(pairing_get(keeper_of(request), pairing.pk))
        return Response(PairingSerializer(answer).data, status=201)


def animal_shown(animal: Animal) -> Any:
    """An animal as its keeper sees it."""
    return AnimalSerializer(animal_answer(animal)).data


class AnimalsView(ApiListView):
    """The keeper's labelled animals."""

    permission_classes = (IsKeeper,)
    serializer_class = AnimalSerializer
    filterset_class = AnimalFilter
    ordering_fields = ("label",)
    ordering = ("label",)

    def get_queryset(self) -> QuerySet[Animal]:
        """The keeper's own."""
        if getattr(self, "swagger_fake_view", False):
            return Animal.objects.none()
        return animal_list(keeper_of(self.request))

    def row(self, one: Any) -> Any:
        """An animal as its keeper sees it."""
        return animal_shown(one)

    @extend_schema(operation_id="animal_list")
    def get(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """A page of your animals. One is known from the first clutch or pairing that names it."""
        return super().get(request, *args, **kwargs)


class AnimalView(ApiView):
    """One of the keeper's animals."""

    permission_classes = (IsKeeper,)

    @extend_schema(operation_id="animal_read", responses=AnimalSerializer)
    def get(self, request: Request, animal_id: uuid.UUID) -> Response:
        """The animal with what is known of it now."""
        return Response(animal_shown(animal_get(keeper_of(request), animal_id)))
