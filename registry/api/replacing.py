"""An answer put in the place of another one."""

from __future__ import annotations

from collections.abc import Collection

from django.http import HttpResponseBase


def stands_for(new: HttpResponseBase, old: HttpResponseBase, *, but: Collection[str]) -> None:
    """Give a new answer the headers, cookies and open ends of the one that it replaces.

    Parameters
    ----------
    but
        Headers, in lower case, that belong to the replaced body and do not move.
    """
    for name, text in old.headers.items():
        if name.lower() not in but:
            new.headers[name] = text
    new.cookies = old.cookies
    # Closing the old one would end the request; what it holds open is closed with the new one.
    new._resource_closers.extend(  # type: ignore[attr-defined] # noqa: SLF001 - no other way
        old._resource_closers  # type: ignore[attr-defined] # noqa: SLF001
    )
