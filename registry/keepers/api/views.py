"""Calls about keepers."""

from __future__ import annotations

from drf_spectacular.utils import extend_schema
from rest_framework.permissions import AllowAny
from rest_framework.request import Request
from rest_framework.response import Response

from registry.api.base import ApiView
from registry.keepers.api.serializers import (
    KeeperJoinSerializer,
    KeeperSerializer,
    NewKeeperSerializer,
)
from registry.keepers.permissions import IsKeeper, keeper_of
from registry.keepers.services import keeper_join
from registry.traffic.callers import anonymous_caller
from registry.traffic.idempotency import answer_belongs_to, answered_once
from registry.traffic.limits import NEW_KEEPERS, capped


class KeepersView(ApiView):
    """Join as a keeper."""

    authentication_classes = ()
    permission_classes = (AllowAny,)

    @extend_schema(
        operation_id="keeper_join",
        request=KeeperJoinSerializer,
        responses={201: NewKeeperSerializer},
    )
    @answered_once(secret=True)
    def post(self, request: Request) -> Response:
        """A new keeper, with token and recovery code. Nothing about a person is asked or kept."""
        self.body(KeeperJoinSerializer)
        with capped(NEW_KEEPERS, anonymous_caller(request._request)):  # noqa: SLF001 - its address
            new = keeper_join()
        response = Response(
            {
                "keeper": new.keeper.pk,
                "token": new.token,
                "recovery_code": new.recovery_code,
            },
            status=201,
            headers={"Cache-Control": "no-store"},
        )
        return answer_belongs_to(response, new.keeper.pk)


class OwnKeeperView(ApiView):
    """The keeper of the token."""

    permission_classes = (IsKeeper,)

    @extend_schema(operation_id="keeper_own", responses=KeeperSerializer)
    def get(self, request: Request) -> Response:
        """The keeper's own record."""
        keeper = keeper_of(request)
        return Response(
            {
                "keeper": keeper.pk,
                "joined_on": keeper.joined_at.date(),
                "clutches": keeper.clutches.count(),
                "pairings": keeper.pairings.count(),
            }
        )
