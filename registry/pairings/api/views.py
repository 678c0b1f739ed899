"""Calls about declared pairings."""

from __future__ import annotations

from typing import Any

from django.db.models import QuerySet
from drf_spectacular.utils import extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from registry.api.base import ApiListView
from registry.catalogue.selectors import species_asked
from registry.keepers.permissions import IsKeeper, keeper_of
from registry.pairings.api.filters import PairingFilter
from registry.pairings.api.serializers import PairingInSerializer, PairingSerializer
from registry.pairings.models import Pairing
from registry.pairings.selectors import pairing_answer, pairing_get, pairing_list
from registry.pairings.services import pairing_declare


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
    def post(self, request: Request) -> Response:
        """Declare a pairing. Clutches that join it can not have been chosen by their outcome."""
        pairing = pairing_declare(keeper_of(request), self.body(PairingInSerializer))
        answer = pairing_answer(pairing_get(keeper_of(request), pairing.pk))
        return Response(PairingSerializer(answer).data, status=201)
