"""Who may call."""

from __future__ import annotations

from rest_framework.permissions import BasePermission
from rest_framework.request import Request
from rest_framework.views import APIView

from registry.errors import NotAuthenticatedError
from registry.keepers.models import Keeper


class IsKeeper(BasePermission):
    """Only with a token."""

    def has_permission(self, request: Request, view: APIView) -> bool:
        """True for a keeper; a caller without a token is told how to get one."""
        del view
        if not isinstance(request.user, Keeper):
            raise NotAuthenticatedError(
                "This call needs 'Authorization: Bearer <token>'; POST keepers/ gives a token."
            )
        return True


def keeper_of(request: Request) -> Keeper:
    """The keeper who calls, where `IsKeeper` let the call through."""
    if not isinstance(request.user, Keeper):
        raise NotAuthenticatedError("This call needs a keeper's token.")
    return request.user
