"""Reading ``Authorization: Bearer <token>`` (RFC 6750)."""

from __future__ import annotations

from typing import Any

from rest_framework.authentication import BaseAuthentication, get_authorization_header
from rest_framework.request import Request

from registry.errors import UnknownTokenError

_PARTS = 2


class BearerAuthentication(BaseAuthentication):
    """Base of the authentication by token; a child says whose token it is.

    Raises `UnknownTokenError` for another scheme, a malformed header or an unknown token: a caller
    who sent something is told, never treated as nobody.
    """

    def authenticate(self, request: Request) -> tuple[Any, Any] | None:
        """``(user, auth)`` of the token; None without an Authorization header."""
        header = get_authorization_header(request)
        if not header:
            return None
        parts = header.split()
        if len(parts) != _PARTS or parts[0].lower() != b"bearer":
            raise UnknownTokenError(
                "The Authorization header can not be read; expected 'Bearer <token>'."
            )
        try:
            token = parts[1].decode("ascii")
        except UnicodeDecodeError as error:
            raise UnknownTokenError("The token has characters that no token has.") from error
        found = self.owner_of(token)
        if found is None:
            raise UnknownTokenError("The token belongs to no keeper.")
        return found

    def owner_of(self, token: str) -> tuple[Any, Any] | None:
        """``(user, auth)`` of a token, None if it belongs to nobody."""
        raise NotImplementedError

    def authenticate_header(self, request: Request) -> str:
        """What a 401 asks for."""
        return "Bearer"
