"""Calls about clutches."""

from __future__ import annotations

import uuid
from typing import Any

from django.db.models import QuerySet
from drf_spectacular.utils import extend_schema
from rest_framework.permissions import AllowAny
from rest_framework.request import Request
from rest_framework.response import Response

from registry.api.base import ApiListView, ApiView
from registry.api.conditions import Precondition, conditional_edit
from registry.catalogue.selectors import species_asked
from registry.clutches.api.check_serializers import ClutchCheckSerializer
from registry.clutches.api.filters import ClutchFilter
from registry.clutches.api.serializers import (
    ClutchCheckInSerializer,
    ClutchInSerializer,
    ClutchSerializer,
)
from registry.clutches.models import Clutch
from registry.clutches.selectors import clutch_answer, clutch_get, clutch_list
from registry.clutches.services.checks import clutch_check
from registry.clutches.services.reporting import clutch_report, reported_answer
from registry.clutches.services.withdrawing import clutch_withdraw
from registry.keepers.permissions import IsKeeper, keeper_of
from registry.traffic.callers import caller_of_call
from registry.traffic.idempotency import answered_once
from registry.traffic.limits import CLUTCHES, capped


def clutch_shown(clutch: Clutch) -> Any:
    """A clutch as its keeper sees it."""
    return ClutchSerializer(clutch_answer(clutch)).data


class ClutchesView(ApiListView):
    """The keeper's own clutches."""

    permission_classes = (IsKeeper,)
    serializer_class = ClutchSerializer
    filterset_class = ClutchFilter
    ordering_fields = ("reported_at", "season")
    ordering = ("-reported_at",)

    def get_queryset(self) -> QuerySet[Clutch]:
        """The keeper's own."""
        if getattr(self, "swagger_fake_view", False):
            return Clutch.objects.none()
        species_asked(self.request.query_params.get("species"))
        return clutch_list(keeper_of(self.request))

    def row(self, one: Any) -> Any:
        """A clutch as its keeper sees it."""
        return clutch_shown(one)

    @extend_schema(
        operation_id="clutch_report",
        request=ClutchInSerializer,
        responses={201: ClutchSerializer},
    )
    @answered_once
    def post(self, request: Request) -> Response:
        """Report a clutch, failures included. It counts in every pool at once."""
        given = self.body(ClutchInSerializer)
        with capped(CLUTCHES, caller_of_call(request)):
            report = clutch_report(keeper_of(request), given)
        answer = reported_answer(report, given)
        return Response(ClutchSerializer(answer).data, status=201)


class ClutchView(ApiView):
    """One of the keeper's clutches."""

    permission_classes = (IsKeeper,)

    @extend_schema(operation_id="clutch_read", responses=ClutchSerializer)
    def get(self, request: Request, clutch_id: uuid.UUID) -> Response:
        """The clutch as it was reported and read."""
        return Response(clutch_shown(clutch_get(keeper_of(request), clutch_id)))

    @extend_schema(operation_id="clutch_withdraw", responses={204: None})
    @conditional_edit
    def delete(self, request: Request, clutch_id: uuid.UUID) -> Response:
        """Take the clutch back; it leaves every pool at once."""
        precondition = Precondition(request)
        clutch_withdraw(
            keeper_of(request),
            clutch_id,
            unchanged=lambda now: precondition.check(clutch_shown(now)),
        )
        return Response(status=204)


class ClutchChecksView(ApiView):
    """Look at a clutch in hand."""

    authentication_classes = ()
    permission_classes = (AllowAny,)

    @extend_schema(
        operation_id="clutch_check",
        request=ClutchCheckInSerializer,
        responses=ClutchCheckSerializer,
    )
    def post(self, _request: Request) -> Response:
        """How surprising the clutch is, what was missed, what the parents carry. Stores nothing."""
        answer = clutch_check(self.body(ClutchCheckInSerializer))
        return Response(ClutchCheckSerializer(answer).data)
