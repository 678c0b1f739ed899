"""Who is signed in on the pages: the keeper's token in a cookie, sealed.

Nothing is stored on the server. Each call opens the cookie and looks the token up as the interface
does, so a token that was revoked, has expired or whose keeper was erased signs out by itself. The
seal (Fernet: AES-128-CBC and HMAC-SHA256, with its time) keeps the token out of whatever writes
cookies down, and ends a stay that is over.
"""

from __future__ import annotations

import base64
from typing import Final

from cryptography.fernet import Fernet, InvalidToken
from cryptography.hazmat.primitives.hashes import SHA256
from cryptography.hazmat.primitives.kdf.hkdf import HKDF
from django.conf import settings
from django.http import HttpRequest, HttpResponseBase

from registry.errors import ExpiredTokenError
from registry.keepers.models import KeeperToken
from registry.keepers.services import token_use
from registry.pages.choices import KEEPER_COOKIE, LONG_STAY_SECONDS, SHORT_STAY_SECONDS

_NAME: Final = b"broodcount keeper of the pages"
_SHORT: Final = b"s"
_LONG: Final = b"l"


def token_of_cookie(request: HttpRequest) -> KeeperToken | None:
    """The token that the caller signed in with, its keeper along; None for nobody.

    One statement if there is a cookie, and none without.
    """
    token = _opened(request.COOKIES.get(KEEPER_COOKIE, ""))
    if token is None:
        return None
    try:
        return token_use(token)
    except ExpiredTokenError:
        return None


def sign_in(response: HttpResponseBase, token: str, *, stay: bool) -> None:
    """Hand the cookie out: until the browser closes, at most 12 hours; or for 30 days."""
    sealed = _seal().encrypt((_LONG if stay else _SHORT) + token.encode())
    response.set_cookie(
        KEEPER_COOKIE,
        sealed.decode(),
        max_age=LONG_STAY_SECONDS if stay else None,
        secure=settings.BROODCOUNT_HTTPS,
        httponly=True,
        samesite="Lax",
    )


def sign_out(response: HttpResponseBase) -> None:
    """Take the cookie back."""
    response.delete_cookie(KEEPER_COOKIE, samesite="Lax")


def _opened(sealed: str) -> str | None:
    """The token in a cookie; None for a cookie that is not ours, or is over."""
    try:
        plain = _seal().decrypt(sealed, ttl=LONG_STAY_SECONDS)
        if plain[:1] == _SHORT:
            _seal().decrypt(sealed, ttl=SHORT_STAY_SECONDS)
    except (InvalidToken, ValueError):
        return None
    return plain[1:].decode()


def _seal() -> Fernet:
    key = settings.SECRET_KEY.encode()
    derived = HKDF(algorithm=SHA256(), length=32, salt=None, info=_NAME).derive(key)
    return Fernet(base64.urlsafe_b64encode(derived))
