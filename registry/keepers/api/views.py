"""Calls about keepers: join, tokens, recovery, what is left of an erased one."""

from __future__ import annotations

import uuid
from typing import Any, Final

from django.db.models import QuerySet
from drf_spectacular.utils import extend_schema
from rest_framework.permissions import AllowAny
from rest_framework.request import Request
from rest_framework.response import Response

from registry.api.base import ApiListView, ApiView
from registry.api.conditions import Precondition, conditional_edit
from registry.keepers.api.serializers import (
    ErasureSerializer,
    KeeperJoinSerializer,
    NewKeeperSerializer,
    NewTokenSerializer,
    RecoveryCodeInSerializer,
    RecoveryCodeSerializer,
    RecoveryInSerializer,
    TokenInSerializer,
    TokenSerializer,
)
from registry.keepers.models import KeeperToken
from registry.keepers.permissions import IsKeeper, keeper_of
from registry.keepers.selectors import erasure_get, token_answer, token_get, token_list
from registry.keepers.services import (
    NewKeeper,
    keeper_join,
    keeper_recover,
    recovery_code_replace,
    token_make,
    token_revoke,
)
from registry.traffic.callers import anonymous_caller
from registry.traffic.idempotency import answer_belongs_to, answered_once
from registry.traffic.limits import NEW_KEEPERS, capped

_SECRET: Final = {"Cache-Control": "no-store"}


def _new_keeper_response(new: NewKeeper) -> Response:
    """The two secrets; nothing on the way may keep them."""
    answer = {
        "keeper": new.keeper.pk,
        "token": new.token,
        "recovery_code": new.recovery_code,
    }
    return Response(answer, status=201, headers=_SECRET)


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
        return answer_belongs_to(_new_keeper_response(new), new.keeper.pk)


class RecoveriesView(ApiView):
    """Come back without a token."""

    authentication_classes = ()
    permission_classes = (AllowAny,)

    @extend_schema(
        operation_id="keeper_recover",
        request=RecoveryInSerializer,
        responses={201: NewKeeperSerializer, 401: None, 409: None},
    )
    @answered_once(secret=True)
    def post(self, _request: Request) -> Response:
        """A new token and a new recovery code; the old code is used up."""
        given = self.body(RecoveryInSerializer)
        new = keeper_recover(given["recovery_code"], revoke_tokens=given["revoke_tokens"])
        return answer_belongs_to(_new_keeper_response(new), new.keeper.pk)


class ErasureView(ApiView):
    """What is left of an erased keeper."""

    authentication_classes = ()
    permission_classes = (AllowAny,)

    @extend_schema(operation_id="keeper_erasure", responses=ErasureSerializer)
    def get(self, _request: Request, receipt: str) -> Response:
        """That the keeper of a receipt was erased, and when; not found otherwise.

        The receipt is the SHA-256 of the keeper's id, so it can be made anew from the id alone.
        """
        erasure = erasure_get(receipt)
        return Response({"receipt": erasure.sha256, "erased_on": erasure.erased_on})


class TokensView(ApiListView):
    """The keeper's own tokens."""

    permission_classes = (IsKeeper,)
    serializer_class = TokenSerializer
    ordering_fields = ("created_at", "expires_on", "last_used_on")
    ordering = ("created_at",)

    def get_queryset(self) -> QuerySet[KeeperToken]:
        """The keeper's own."""
        if getattr(self, "swagger_fake_view", False):
            return KeeperToken.objects.none()
        return token_list(keeper_of(self.request))

    def row(self, one: Any) -> Any:
        """A token as its keeper sees it."""
        return _token_shown(self.request, one)

    @extend_schema(
        operation_id="keeper_token_make",
        request=TokenInSerializer,
        responses={201: NewTokenSerializer, 409: None},
    )
    @answered_once(secret=True)
    def post(self, request: Request) -> Response:
        """Another token, as for another device; with a label and an expiry, if wanted."""
        new = token_make(keeper_of(request), self.body(TokenInSerializer))
        answer = token_answer(new.stored, current=None) | {"token": new.token}
        return Response(NewTokenSerializer(answer).data, status=201, headers=_SECRET)


class TokenView(ApiView):
    """One of the keeper's tokens."""

    permission_classes = (IsKeeper,)

    @extend_schema(operation_id="keeper_token", responses=TokenSerializer)
    def get(self, request: Request, token_id: uuid.UUID) -> Response:
        """The token without its secret, which is shown once and not kept."""
        return Response(_token_shown(request, token_get(keeper_of(request), token_id)))

    @extend_schema(operation_id="keeper_token_revoke", responses={204: None})
    @conditional_edit
    def delete(self, request: Request, token_id: uuid.UUID) -> Response:
        """Revoke the token, from the next call on. It may be the one in use, or the last one."""
        precondition = Precondition(request)
        token_revoke(
            keeper_of(request),
            token_id,
            unchanged=lambda now: precondition.check(_token_shown(request, now)),
        )
        return Response(status=204)


class RecoveryCodeView(ApiView):
    """The keeper's recovery code."""

    permission_classes = (IsKeeper,)

    @extend_schema(
        operation_id="keeper_recovery_code_replace",
        request=RecoveryCodeInSerializer,
        responses={201: RecoveryCodeSerializer},
    )
    @answered_once(secret=True)
    def post(self, request: Request) -> Response:
        """A new recovery code, in place of one that was lost or seen by others."""
        self.body(RecoveryCodeInSerializer)
        code = recovery_code_replace(keeper_of(request))
        return Response({"recovery_code": code}, status=201, headers=_SECRET)


def _token_shown(request: Request, token: KeeperToken) -> Any:
    return TokenSerializer(token_answer(token, current=_current(request))).data


def _current(request: Request) -> uuid.UUID | None:
    """The token that the call came with."""
    return request.auth if isinstance(request.auth, uuid.UUID) else None
