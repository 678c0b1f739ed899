"""Numbers of things in plain words, for every sentence of the service."""

from __future__ import annotations

from math import ceil
from typing import Final

_MINUTE: Final = 60
_HOUR: Final = 60 * _MINUTE
_LEAST_CHANCE: Final = 0.001
_SO_MANY: Final = 2
"""A wait is told in minutes and hours from two of them on."""


def counted(n: int, one: str, many: str = "") -> str:
    """How many of something: ``1 clutch``, ``12 eggs``, ``1,204 clutches``.

    ``many`` is the plural, with an s unless it is given.
    """
    return f"{n:,} {one if n == 1 else many or f'{one}s'}"


def percent_text(chance: float) -> str:
    """A chance from 0 to 1 in per cent; never 0 % or 100 % for what can happen, or fail to."""
    if 0 < chance < _LEAST_CHANCE:
        return "below 0.1 %"
    if 1 - _LEAST_CHANCE < chance < 1:
        return "above 99.9 %"
    text = f"{100 * chance:.1f}".removesuffix(".0")
    return f"{text} %"


def wait_text(seconds: float) -> str:
    """A wait, rounded up so that nobody comes back too early: ``90 seconds``, ``24 hours``."""
    for unit, length in (("hour", _HOUR), ("minute", _MINUTE)):
        if seconds >= _SO_MANY * length:
            return counted(ceil(seconds / length), unit)
    return counted(ceil(seconds), "second")


def were(number: str) -> str:
    """The verb after a number that was written out: ``1 was``, ``0.5 were``."""
    return f"{number} {'was' if number == '1' else 'were'}"
