"""Pictures as numbers: where bars, dots and lines lie. No colour, no markup.

Bars lie on a scale of 0 to 100 across, so that they stretch with the page while their labels, which
are text beside them, stay readable. The curve is a picture of its own with text in it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import ceil, floor, log10
from typing import Any, Final

from registry.pages.numerals import raised

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
    """A mark on an axis: its place in pixels, what it says, and which part of that is there."""

    at: float
    text: str
    anchor: str = "middle"


@dataclass(frozen=True, slots=True)
class Label:
    """Where words stand: the end that ``anchor`` names, on the line that they are written on."""

    x: float
    y: float
    anchor: str


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
    limit_label: Label
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
    points = tuple(
        (across(one["clutches"]), up(value)) for one, value in zip(found, values, strict=True)
    )
    return CurvePicture(
        width=width,
        height=_HEIGHT,
        left=left,
        right=right,
        top=top,
        bottom=bottom,
        points=points,
        limit=up(limit),
        limit_label=_limit_label(points, up(limit), (left, right), (top, bottom)),
        ups=tuple(Tick(up(power), _power(power)) for power in range(low, high + 1, step)),
        acrosses=tuple(
            # The last one ends where the picture does, however many digits it has.
            Tick(across(one), f"{one:,}", "end" if first < one == last else "middle")
            for one in _ticks(first, last)
        ),
    )


_LABEL_WIDE: Final = 126
_LABEL_HIGH: Final = 18
_LABEL_OFF: Final = 5
"""Between the line and the words at it."""

Points = Sequence[tuple[float, float]]
Span = tuple[float, float]


def _limit_label(points: Points, limit: float, sides: Span, ends: Span) -> Label:
    """Where the words at the limit hide least of the curve: left or right, above or below."""

    def hidden(label: Label) -> tuple[bool, int]:
        x = label.x if label.anchor == "start" else label.x - _LABEL_WIDE
        over, under = label.y - _LABEL_HIGH + _LABEL_OFF, label.y + _LABEL_OFF
        is_out = over < ends[0] or under > ends[1]
        return is_out, _n_crossing(points, (x, x + _LABEL_WIDE), (over, under))

    left, right = sides
    above, below = limit - _LABEL_OFF, limit + _LABEL_HIGH - _LABEL_OFF
    return min(
        (
            Label(x, y, anchor)
            for y in (above, below)
            for x, anchor in ((left + _LABEL_OFF, "start"), (right, "end"))
        ),
        key=hidden,
    )


def _n_crossing(points: Points, across: Span, up: Span) -> int:
    """Pieces of a line from left to right that touch a box; a single point is a piece."""
    n_found = 0
    for (x_from, y_from), (x_to, y_to) in zip(points, points[1:] or points, strict=False):
        start, end = max(x_from, across[0]), min(x_to, across[1])
        if start > end:
            continue
        slope = (y_to - y_from) / (x_to - x_from) if x_to > x_from else 0.0
        heights = [y_from + slope * (x - x_from) for x in (start, end)]
        n_found += min(heights) <= up[1] and max(heights) >= up[0]
    return n_found


_LARGEST_PLAIN: Final = 4


def _power(power: int) -> str:
    """A power of ten as it is written at the axis."""
    if 0 <= power <= _LARGEST_PLAIN:
        return f"{10**power:,}"
    if -_LARGEST_PLAIN < power < 0:
        return f"{10.0**power:.{-power}f}"
    return f"10{raised(power)}"


def _ticks(first: int, last: int) -> list[int]:
    """The ends, and the middle where there is room."""
    middle = (first + last) // 2
    return sorted({first, middle, last} if last - first > 1 else {first, last})
