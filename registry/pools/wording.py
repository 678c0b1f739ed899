"""The six explanations, and numbers, in a keeper's words."""

from __future__ import annotations

from collections.abc import Mapping
from math import floor, log10
from typing import Any, Final

NOTHING_MISSING: Final = "Nothing is missing: it hatched as often as expected, or more often."

_ONLY_LUCK: Final = "The genetics are as catalogued, and what is missing is luck."

_SMALLEST_SAID: Final = 0.001
_LARGEST_SAID: Final = 1_000_000


def number_text(value: float, *, digits: int = 3) -> str:
    """A number of 0 or more to so many significant digits, written out: never 4e+02.

    Below a thousandth, and above a million, only that is said.
    """
    if value > _LARGEST_SAID:
        return f"more than {_LARGEST_SAID:,}"
    if 0 < value < _SMALLEST_SAID:
        return f"less than {_SMALLEST_SAID}"
    if value <= 0:
        return "0"
    decimals = digits - 1 - floor(log10(value))
    text = f"{round(value, decimals):,.{max(0, decimals)}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def explanation_sentence(
    one: Mapping[str, Any], combination: str, *, nothing_missing: bool = False
) -> str:
    """One explanation in plain words."""
    name = one["name"]
    if name == "as-catalogued":
        return NOTHING_MISSING if nothing_missing else _ONLY_LUCK
    if name == "parent-not-carrying":
        return "Some parents do not carry what their labels say."
    if name == "look-alike":
        called = one.get("called_as") or "another look"
        return f"It hatches and is called something else: {called}."
    if name == "linked-in-repulsion":
        share = f"{100 * one.get('recombination_fraction', 0):.0f} %"
        return (
            "The genes sit on one chromosome, one on each of a pair, and come together only by "
            f"crossing over (about {share} of the time)."
        )
    if name == "gene-shortage":
        return f"{one.get('gene') or 'A gene'} falls short by itself, whatever its partner."
    return f"{combination} dies in the egg or is lost before hatching."
