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


class KeepersView(ApiView):
    """Join as a keeper."""

    authentication_classes = ()
    permission_classes = (AllowAny,)

    @extend_schema(
        operation_id="keeper_join",
        request=KeeperJoinSerializer,
        responses={201: NewKeeperSerializer},
    )
    def post(self, _request: Request) -> Response:
        """A new keeper, with token and recovery code. Nothing about a person is asked or kept."""
        self.body(KeeperJoinSerializer)
        new = keeper_join()
        return Response(
            {
                "keeper": new.keeper.pk,
                "token": new.token,
                "recovery_code": new.recovery_code,
            },
            status=201,
            headers={"Cache-Control": "no-store"},
        )


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
