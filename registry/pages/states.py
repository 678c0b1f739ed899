"""Which state of a thing a form was made for, so that two edits of one state never both succeed."""

from __future__ import annotations

from typing import Any

from registry.api.conditions import etag_of
from registry.api.renderers import rendered
from registry.errors import PreconditionFailedError


def state_of(shown: Any) -> str:
    """What a form carries: the same as the ETag of the interface, without its quotes."""
    return etag_of(rendered(shown)).strip('"')


def same_state(shown: Any, seen: str) -> None:
    """Hold the present state against the one that a form was made for.

    Raises
    ------
    PreconditionFailedError
    """
    if state_of(shown) != seen:
        raise PreconditionFailedError(
            "It has changed since you opened this page, perhaps in another window. What is stored "
            "now is shown; look whether your change still fits, and send it again."
        )
