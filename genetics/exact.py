"""Arithmetic that must not round at a tie, and the only tolerances of the genetics.

Fractions where a decision hangs on it, wide decimals (50 digits, an exponent range that no product
of chances can leave) where a number is too small for a float.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from decimal import MAX_EMAX, MIN_EMIN, Context, Decimal
from fractions import Fraction
from typing import Final

DIGITS: Final = 50
WIDE: Final = Context(prec=DIGITS, Emax=MAX_EMAX, Emin=MIN_EMIN)

#: Chances handed over as floats may miss a sum of 1 by this much; Fractions must not miss it.
FLOAT_SUM_TOLERANCE: Final = Fraction(1, 10**9)

#: Mass left out at each end of a window of a law, as a power of e: e**-46 is about 1e-20.
WINDOW_EXPONENT: Final = 46.0
#: Two natural logarithms of likelihoods nearer than this are equal.
ROUNDING_OF_PROFILES: Final = 1e-9
#: Two logarithms to base 10 of equal numbers may differ by this much.
ROUNDING_OF_LOGS: Final = 1e-12
#: Two chances of one cell, computed in two ways in floats, may differ by this much.
ROUNDING_OF_CHANCES: Final = 1e-12
#: Share of a sum that left-out mass (``WINDOW_EXPONENT``) may reach before the sum is done in full.
WINDOW_SUM_FLOOR: Final = 1e-6


def wide(value: Fraction | float) -> Decimal:
    """``value`` as a decimal, rounded once, to 50 digits."""
    exact = Fraction(value)
    return WIDE.divide(Decimal(exact.numerator), Decimal(exact.denominator))


def log10_of(value: Decimal) -> float:
    """Decimal logarithm, to the precision of a float; minus infinity for 0."""
    if value == 0:
        return -math.inf
    exponent = value.adjusted()
    return exponent + math.log10(value.scaleb(-exponent, WIDE))


def power_sum_sign(weights_by_base: Mapping[Fraction, Fraction], n: int, bound: Fraction) -> int:
    """Sign (-1, 0 or 1) of ``sum(weight * base**n) - bound``, decided exactly.

    Wide decimals decide unless the two are closer than their rounding can tell; then integers do.

    Parameters
    ----------
    weights_by_base
        Bases and weights, all from 0 to 1.
    n
        Power, 0 or more.
    bound
        Above 0.
    """
    if n:  # decimals refuse 0**0
        total = Decimal(0)
        for base, weight in weights_by_base.items():
            total = WIDE.fma(wide(weight), WIDE.power(wide(base), n), total)
        # Every term is positive, so relative errors do not grow in the sum: n roundings of the
        # base and a few per term.
        slack = WIDE.scaleb(total, 2 - DIGITS)
        slack = WIDE.multiply(slack, Decimal(n + len(weights_by_base) + DIGITS))
        difference = WIDE.subtract(total, wide(bound))
        if abs(difference) > slack:
            return 1 if difference > 0 else -1
    exact = sum((w * base**n for base, w in weights_by_base.items()), Fraction(0))
    return (exact > bound) - (exact < bound)


def smallest_power(
    weights_by_base: Mapping[Fraction, Fraction], bound: Fraction, *, strict: bool
) -> int:
    """Smallest n with ``sum(weight * base**n)`` at most ``bound`` (below it, if ``strict``).

    The sum must get there; the caller has checked that. Doubling, then halving, each step exact.
    """
    highest = -1 if strict else 0

    def reached(n: int) -> bool:
        return power_sum_sign(weights_by_base, n, bound) <= highest

    if reached(0):
        return 0
    below, above = 0, 1
    while not reached(above):
        below, above = above, 2 * above
    while above - below > 1:
        middle = (below + above) // 2
        below, above = (below, middle) if reached(middle) else (middle, above)
    return above
