"""Exact comparisons at and next to a tie."""

import math
from decimal import Decimal
from fractions import Fraction

import pytest

from genetics.exact import log10_of, power_sum_sign, smallest_power, wide

HALF = Fraction(1, 2)


@pytest.mark.parametrize("n", [0, 1, 30, 1000])
def test_power_sum_sign__sees_a_tie_and_both_sides_of_it(n):
    weights_by_base = {HALF: Fraction(1, 3), Fraction(1): Fraction(2, 3)}
    tie = Fraction(1, 3) * HALF**n + Fraction(2, 3)
    hair = Fraction(1, 10**400)  # far below the 50 digits that are tried first
    assert power_sum_sign(weights_by_base, n, tie) == 0
    assert power_sum_sign(weights_by_base, n, tie - hair) == 1
    assert power_sum_sign(weights_by_base, n, tie + hair) == -1


def test_smallest_power__tells_at_most_from_below():
    assert smallest_power({HALF: Fraction(1)}, HALF**7, strict=False) == 7
    assert smallest_power({HALF: Fraction(1)}, HALF**7, strict=True) == 8
    assert smallest_power({Fraction(0): Fraction(1)}, HALF, strict=True) == 1
    assert smallest_power({HALF: HALF}, HALF, strict=False) == 0


def test_smallest_power__copes_with_a_chance_of_one_in_a_milliard():
    rare = 1 - Fraction(1, 10**9)
    n = smallest_power({rare: Fraction(1)}, Fraction(1, 20), strict=True)
    assert n == math.ceil(math.log(1 / 20) / math.log1p(-1e-9))


def test_log10_of__goes_below_the_smallest_float():
    assert log10_of(Decimal("1e-5000")) == -5000.0
    assert log10_of(Decimal(0)) == -math.inf
    assert log10_of(wide(Fraction(1, 8))) == pytest.approx(math.log10(0.125), rel=1e-15)
