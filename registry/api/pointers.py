"""JSON pointers (RFC 6901), in the form of a URI fragment."""

from __future__ import annotations

from collections.abc import Iterable
from urllib.parse import quote

# RFC 3986: characters a fragment may hold unescaped, besides letters and digits.
_FRAGMENT_SAFE = "-._~!$&'()*+,;=:@/?"


def json_pointer(place: Iterable[str | int]) -> str:
    """Pointer to ``place`` as a URI fragment: ``#`` is the whole body, ``#/sire/genes`` a field.

    Half surrogate pairs, which no URI can hold, become ``?``.
    """
    tokens = (str(token).replace("~", "~0").replace("/", "~1") for token in place)
    path = "".join(f"/{token}" for token in tokens)
    return "#" + quote(path, safe=_FRAGMENT_SAFE, errors="replace")
