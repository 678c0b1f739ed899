"""Numbers of things in plain words, for every sentence of the service."""

from __future__ import annotations

from math import ceil
from typing import Final

_MINUTE: Final = 60
_HOUR: Final = 60 * _MINUTE
_SO_MANY: Final = 2
"""A wait is told in minutes and hours from two of them on."""


def counted(n: int, one: str, many: str = "") -> str:
    """How many of something: ``1 clutch``, ``12 eggs``, ``1,204 clutches``.

    ``many`` is the plural, with an s unless it is given.
    """
    return f"{n:,} {one if n == 1 else many or f'{one}s'}"


def wait_text(seconds: float) -> str:
    """A wait, rounded up so that nobody comes back too early: ``90 seconds``, ``24 hours``."""
    for unit, length in (("hour", _HOUR), ("minute", _MINUTE)):
        if seconds >= _SO_MANY * length:
            return counted(ceil(seconds / length), unit)
    return counted(ceil(seconds), "second")


def were(number: str) -> str:
    """The verb after a number that was written out: ``1 was``, ``0.5 were``."""
    return f"{number} {'was' if number == '1' else 'were'}"
