"""Who calls, as far as counting needs it. An address is never stored and never logged."""

from __future__ import annotations

import hashlib
import hmac
import ipaddress
import re
from dataclasses import dataclass
from datetime import date
from typing import Final

from django.conf import settings
from django.http import HttpRequest
from rest_framework.request import Request

_PREFIX_BITS: Final = 64
"""Of an IPv6 address: one household or one rented server has all addresses behind it."""
_DIGEST_BYTES: Final = 16
_WITH_PORT: Final = re.compile(r"^\[(?P<six>[^\]]+)\](?::\d+)?$|^(?P<four>[\d.]+):\d+$")


@dataclass(frozen=True, slots=True)
class Caller:
    """A keeper by its id, or nobody by where the call comes from. Never to be stored as it is."""

    is_keeper: bool
    name: str

    @property
    def kind(self) -> str:
        """``keeper`` or ``anonymous``."""
        return "keeper" if self.is_keeper else "anonymous"

    def digest(self, scope: str, day: date) -> bytes:
        """What is stored instead: one way without the secret key, another one every day."""
        words = f"{scope}\0{self.kind}\0{self.name}\0{day.isoformat()}"
        key = settings.SECRET_KEY.encode()
        return hmac.new(key, words.encode(), hashlib.sha256).digest()[:_DIGEST_BYTES]


def caller_of_call(request: Request) -> Caller:
    """The keeper of the token; without a token, or with a wrong one, the address of the caller."""
    try:
        keeper = getattr(request.user, "pk", None)
    except Exception:  # noqa: BLE001 - whatever the authentication found wrong is told by it
        keeper = None
    if keeper is not None:
        return Caller(is_keeper=True, name=str(keeper))
    return anonymous_caller(request._request)  # noqa: SLF001 - the same request, for other doors


def anonymous_caller(request: HttpRequest) -> Caller:
    """Nobody, calling from somewhere."""
    return Caller(is_keeper=False, name=_network(_address(request)))


def _address(request: HttpRequest) -> str:
    """The address of the caller: that of the connection, or what trusted proxies say of it.

    Each proxy adds to the right of ``X-Forwarded-For`` whom it heard; what stands further to the
    left than there are proxies is the caller's own invention.
    """
    direct = str(request.META.get("REMOTE_ADDR") or "")
    n_proxies: int = settings.BROODCOUNT_TRUSTED_PROXIES
    if n_proxies == 0:
        return direct
    told = [one.strip() for one in request.META.get("HTTP_X_FORWARDED_FOR", "").split(",")]
    return told[-n_proxies] if len(told) >= n_proxies and told[-n_proxies] else direct


def _network(text: str) -> str:
    """What is counted as one caller: an IPv4 address, a /64 of IPv6; unreadable ones together."""
    found = _WITH_PORT.match(text)
    bare = (found["six"] or found["four"]) if found else text
    try:
        address = ipaddress.ip_address(bare)
    except ValueError:
        return "unreadable"
    if isinstance(address, ipaddress.IPv6Address):
        if address.ipv4_mapped is not None:
            return str(address.ipv4_mapped)
        return str(ipaddress.ip_network((int(address), _PREFIX_BITS), strict=False))
    return str(address)
