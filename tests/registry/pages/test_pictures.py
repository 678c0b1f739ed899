"""Geometry of the pictures: places follow the numbers, nothing lies outside, words hide no curve.

The pixels of the scales are worked out by hand here, from the rule that each picture states.
"""

from __future__ import annotations

from math import log10
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from registry.pages.pictures import (
    ACROSS,
    chances_picture,
    counts_picture,
    curve_picture,
    recovery_picture,
)

E_VALUES = st.floats(min_value=0.0, max_value=1e300, allow_subnormal=False)


def history(*e_values: float, first: int = 1) -> dict[str, Any]:
    """A history with so many clutches, the limit at 20."""
    points = [
        {"clutches": number, "e_value": e_value} for number, e_value in enumerate(e_values, first)
    ]
    return {"points": points, "threshold": 20.0}


# --- bars -----------------------------------------------------------------------------------------


def test_counts_picture__has_both_ends_of_uncertain_calls_on_one_scale():
    expected, hatched = counts_picture(expected=20.0, hatched=5, if_uncertain_count=8)
    assert (expected.start, expected.end, expected.unsure_width) == (0.0, 100.0, 0.0)
    assert (hatched.width, hatched.unsure_to, hatched.unsure_width) == (25.0, 40.0, 15.0)
    assert (expected.value, hatched.value) == (20.0, 5)


def test_counts_picture__is_as_wide_as_the_largest_number():
    expected, hatched = counts_picture(expected=2.0, hatched=3, if_uncertain_count=4)
    assert (expected.end, hatched.end, hatched.unsure_to) == (50.0, 75.0, 100.0)


def test_counts_picture__is_empty_where_nothing_was_to_be_expected():
    assert counts_picture(expected=0.0, hatched=0, if_uncertain_count=0) == []


def test_chances_picture__has_a_bar_for_each_reason():
    bars = chances_picture(
        [{"name": "look-alike", "probability": 0.75}, {"name": "as-catalogued", "probability": 0.0}]
    )
    assert [(one.label, one.end) for one in bars] == [("look-alike", 75.0), ("as-catalogued", 0.0)]
    assert chances_picture([]) == []


# --- the recovery ratio ---------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("low", "estimate", "high", "ends_at", "places"),
    [
        (0.0, 0.0, 0.3, 1.5, (0.0, 0.0, 20.0)),
        (0.5, 1.0, 2.0, 2.0, (25.0, 50.0, 100.0)),
        (1.0, 1.25, 2.1, 2.5, (40.0, 50.0, 84.0)),
    ],
)
def test_recovery_picture__ends_at_a_half_behind_the_interval(low, estimate, high, ends_at, places):
    picture = recovery_picture({"low": low, "estimate": estimate, "high": high})
    assert picture is not None
    assert picture.ends_at == ends_at
    assert (picture.low, picture.estimate, picture.high) == pytest.approx(places)
    assert picture.one == pytest.approx(ACROSS / ends_at)
    assert picture.width == pytest.approx(places[2] - places[0])


def test_recovery_picture__is_none_without_a_ratio():
    assert recovery_picture(None) is None


# --- evidence over time ---------------------------------------------------------------------------


def test_curve_picture__is_none_without_points():
    assert curve_picture(history(), narrow=False) is None


def test_curve_picture__lies_on_a_scale_of_powers_of_ten():
    picture = curve_picture(history(1.0, 10.0, 100.0), narrow=False)
    assert picture is not None
    (x_first, y_first), (x_second, y_second), (x_third, y_third) = picture.points
    assert (x_first, x_third) == (picture.left, picture.right)
    assert x_second == (picture.left + picture.right) / 2
    # From 1 at the foot to 100 at the top: equal factors are equal steps.
    assert (y_first, y_third) == (picture.bottom, picture.top)
    assert y_second == pytest.approx((picture.bottom + picture.top) / 2)
    share = (picture.bottom - picture.limit) / (picture.bottom - picture.top)
    assert share == pytest.approx(log10(20) / 2)
    assert [one.text for one in picture.ups] == ["1", "10", "100"]
    assert [one.text for one in picture.acrosses] == ["1", "2", "3"]
    assert picture.path.split()[0] == f"{x_first:.1f},{y_first:.1f}"


def test_curve_picture__writes_large_and_small_powers_raised():
    picture = curve_picture(history(1e-9, 1e9), narrow=True)
    assert picture is not None
    assert [one.text for one in picture.ups] == [
        "10\u207b\u2079",
        "10\u207b\u2076",
        "0.001",
        "1",
        "1,000",
        "10\u2076",
        "10\u2079",
    ]


def test_curve_picture__ends_the_last_number_where_the_picture_does():
    picture = curve_picture(history(1.0, 2.0, 3.0, first=99_998), narrow=True)
    assert picture is not None
    assert [(one.text, one.anchor) for one in picture.acrosses] == [
        ("99,998", "middle"),
        ("99,999", "middle"),
        ("100,000", "end"),
    ]
    alone = curve_picture(history(1.0), narrow=True)
    assert alone is not None
    assert [(one.text, one.anchor) for one in alone.acrosses] == [("1", "middle")]


@pytest.mark.parametrize(
    ("e_values", "anchor", "is_above"),
    [
        ((1.0, 1.0, 1.0, 1.0), "start", True),
        # Rises over the limit at the left: there is room at the right.
        ((1.0, 500.0, 1e6, 1e7, 1e8), "end", True),
        # Lies close above it: below it is free.
        ((30.0, 25.0, 22.0, 21.0), "start", False),
    ],
)
def test_curve_picture__names_the_limit_where_the_curve_is_not(e_values, anchor, is_above):
    picture = curve_picture(history(*e_values), narrow=True)
    assert picture is not None
    assert picture.limit_label.anchor == anchor
    assert (picture.limit_label.y < picture.limit) is is_above


@given(st.lists(E_VALUES, min_size=1, max_size=30), st.booleans())
def test_curve_picture__keeps_everything_inside(e_values, narrow):
    picture = curve_picture(history(*e_values), narrow=narrow)
    assert picture is not None
    assert len(picture.points) == len(e_values)
    inside = [*picture.points, (picture.left, picture.limit)]
    inside += [(picture.left, one.at) for one in picture.ups]
    inside += [(one.at, picture.bottom) for one in picture.acrosses]
    for x, y in inside:
        assert picture.left - 0.001 <= x <= picture.right + 0.001
        assert picture.top - 0.001 <= y <= picture.bottom + 0.001
    assert picture.right < picture.width
    assert picture.bottom < picture.height
    assert picture.top <= picture.limit_label.y <= picture.bottom
    # More evidence is never drawn lower.
    ranked = sorted(zip(e_values, (y for _x, y in picture.points), strict=True))
    heights = [y for _value, y in ranked]
    assert heights == sorted(heights, reverse=True)
