"""Pictures as numbers: where bars, dots and lines lie. No colour, no markup.

Bars lie on a scale of 0 to 100 across, so that they stretch with the page while their labels, which
are text beside them, stay readable. The curve is a picture of its own with text in it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import ceil, floor, log10
from typing import Any, Final

ACROSS: Final = 100.0
_RECOVERY_SHOWN: Final = 1.5
"""The scale of the recovery ratio reaches this far at least, so that 1 is never at its end."""


@dataclass(frozen=True, slots=True)
class Bar:
    """A bar from ``start`` to ``end`` (0 to 100), with what stands beside it.

    ``unsure_to`` is where its uncertain part ends, equal to ``end`` without one.
    """

    label: str
    value: float
    start: float
    end: float
    unsure_to: float

    @property
    def width(self) -> float:
        """Of the certain part."""
        return self.end - self.start

    @property
    def unsure_width(self) -> float:
        """Of the uncertain part."""
        return self.unsure_to - self.end


def counts_picture(*, expected: float, hatched: int, if_uncertain_count: int) -> list[Bar]:
    """Expected against hatched, on one scale; an empty list if nothing was to be expected."""
    most = max(expected, hatched, if_uncertain_count)
    if most <= 0:
        return []
    scale = ACROSS / most
    return [
        Bar("Expected", expected, 0.0, expected * scale, expected * scale),
        Bar("Hatched", hatched, 0.0, hatched * scale, if_uncertain_count * scale),
    ]


@dataclass(frozen=True, slots=True)
class RatioPicture:
    """A ratio with its interval; ``one`` is where "as often as expected" lies."""

    low: float
    estimate: float
    high: float
    one: float
    ends_at: float

    @property
    def width(self) -> float:
        """Of the interval."""
        return self.high - self.low


def recovery_picture(recovery: Mapping[str, Any] | None) -> RatioPicture | None:
    """The recovery ratio; None where there is none."""
    if recovery is None:
        return None
    ends_at = max(_RECOVERY_SHOWN, ceil(2 * float(recovery["high"])) / 2)
    scale = ACROSS / ends_at
    return RatioPicture(
        low=recovery["low"] * scale,
        estimate=recovery["estimate"] * scale,
        high=recovery["high"] * scale,
        one=scale,
        ends_at=ends_at,
    )


def chances_picture(explanations: Sequence[Mapping[str, Any]]) -> list[Bar]:
    """Probabilities of the explanations, from 0 to 1."""
    return [
        Bar(one["name"], one["probability"], 0.0, ACROSS * one["probability"], 0.0)
        for one in explanations
    ]


# --- evidence over time -------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Tick:
    """A mark on an axis: its place in pixels and what it says."""

    at: float
    text: str


@dataclass(frozen=True, slots=True)
class CurvePicture:
    """Evidence after each clutch, on a scale of powers of ten; all places in pixels."""

    width: int
    height: int
    left: int
    right: int
    top: int
    bottom: int
    points: tuple[tuple[float, float], ...]
    limit: float
    ups: tuple[Tick, ...]
    acrosses: tuple[Tick, ...]

    @property
    def path(self) -> str:
        """The line as the points of a ``polyline``."""
        return " ".join(f"{x:.1f},{y:.1f}" for x, y in self.points)


_WIDE: Final = 640
_NARROW: Final = 340
_HEIGHT: Final = 300
_MARGIN_LEFT: Final = 62
_MARGIN: Final = 18
_MARGIN_BELOW: Final = 46
_MOST_UPS: Final = 6


def curve_picture(history: Mapping[str, Any], *, narrow: bool) -> CurvePicture | None:
    """The curve of `history_answer`; None without a point."""
    found = history["points"]
    if not found:
        return None
    width = _NARROW if narrow else _WIDE
    left, right = _MARGIN_LEFT, width - _MARGIN
    top, bottom = _MARGIN, _HEIGHT - _MARGIN_BELOW
    # Whole powers of ten, with 1 (no evidence) and the limit always in sight.
    values = [max(log10(one["e_value"]), -300.0) if one["e_value"] > 0 else -300.0 for one in found]
    limit = log10(history["threshold"])
    low, high = floor(min(*values, 0.0)), ceil(max(*values, limit))
    first, last = found[0]["clutches"], found[-1]["clutches"]

    def up(power: float) -> float:
        return bottom - (bottom - top) * (power - low) / (high - low)

    def across(clutch: int) -> float:
        return left + (right - left) * ((clutch - first) / (last - first) if last > first else 0.5)

    step = ceil((high - low) / _MOST_UPS)
    return CurvePicture(
        width=width,
        height=_HEIGHT,
        left=left,
        right=right,
        top=top,
        bottom=bottom,
        points=tuple(
            (across(one["clutches"]), up(value)) for one, value in zip(found, values, strict=True)
        ),
        limit=up(limit),
        ups=tuple(Tick(up(power), _power(power)) for power in range(low, high + 1, step)),
        acrosses=tuple(Tick(across(one), f"{one:,}") for one in _ticks(first, last)),
    )


_LARGEST_PLAIN: Final = 4


def _power(power: int) -> str:
    """A power of ten as it is written at the axis."""
    if 0 <= power <= _LARGEST_PLAIN:
        return f"{10**power:,}"
    if -_LARGEST_PLAIN < power < 0:
        return f"{10.0**power:.{-power}f}"
    return f"1e{power}"


def _ticks(first: int, last: int) -> list[int]:
    """The ends, and the middle where there is room."""
    middle = (first + last) // 2
    return sorted({first, middle, last} if last - first > 1 else {first, last})
