"""Parts of a pool as tilted laws: the arithmetic under the exact pooled tail.

Tilting by t multiplies the chance of j hits by ``t**j`` and scales back to sum 1; the sum of tilted
counts is the tilted sum. With t chosen so that the hits seen are the mean, every number needed is
near the top of a law. A part is a number of independent equal counts.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from typing import Final, Protocol

import numpy as np

from genetics.evidence.windows import Mass, Window, binomial_window, repeated_window, summed_window
from genetics.exact import WIDE, wide

#: Natural logarithm of the largest change of the tilt in one step: the float range is e**+-700.
LONGEST_STEP: Final = 50.0


class Part(Protocol):
    """Independent equal counts; ``tilt`` multiplies the chance of j hits by ``tilt**j``."""

    @property
    def n_hatchlings(self) -> int: ...
    @property
    def least(self) -> int: ...
    @property
    def most(self) -> int: ...
    def expected(self) -> Fraction: ...
    def wide_chance_of_none(self) -> Decimal: ...
    def wide_chance_of_least(self) -> Decimal: ...
    def wide_mass(self, tilt: Decimal) -> Decimal: ...
    def moments(self, tilt: float) -> tuple[float, float]: ...
    def window(self, tilt: float, *, whole: bool) -> Window: ...


@dataclass(frozen=True, slots=True)
class EqualChances:
    """Hatchlings that share a chance."""

    chance: Fraction
    n_hatchlings: int
    odds: float

    @property
    def least(self) -> int:
        return 0

    @property
    def most(self) -> int:
        return self.n_hatchlings

    def expected(self) -> Fraction:
        return self.chance * self.n_hatchlings

    def wide_chance_of_none(self) -> Decimal:
        return WIDE.power(wide(1 - self.chance), self.n_hatchlings)

    def wide_chance_of_least(self) -> Decimal:
        return self.wide_chance_of_none()

    def wide_mass(self, tilt: Decimal) -> Decimal:
        one = WIDE.fma(wide(self.chance), tilt, wide(1 - self.chance))
        return WIDE.power(one, self.n_hatchlings)

    def moments(self, tilt: float) -> tuple[float, float]:
        odds = self.odds * tilt
        mean = self.n_hatchlings * odds / (1.0 + odds)
        return mean, mean / (1.0 + odds)

    def window(self, tilt: float, *, whole: bool) -> Window:
        return binomial_window(n=self.n_hatchlings, odds=self.odds * tilt, whole=whole)


@dataclass(frozen=True, slots=True)
class EqualFamilies:
    """Families that share a law."""

    chances: tuple[Fraction, ...]
    n_families: int

    @property
    def n_hatchlings(self) -> int:
        return (len(self.chances) - 1) * self.n_families

    def least_of_one(self) -> int:
        """Fewest hits that one family can give."""
        return next(j for j, chance in enumerate(self.chances) if chance)

    @property
    def least(self) -> int:
        return self.least_of_one() * self.n_families

    @property
    def most(self) -> int:
        return max(j for j, chance in enumerate(self.chances) if chance) * self.n_families

    def expected(self) -> Fraction:
        return self.n_families * sum(
            (j * chance for j, chance in enumerate(self.chances)), Fraction(0)
        )

    def wide_chance_of_none(self) -> Decimal:
        return WIDE.power(wide(self.chances[0]), self.n_families)

    def wide_chance_of_least(self) -> Decimal:
        return WIDE.power(wide(self.chances[self.least_of_one()]), self.n_families)

    def wide_mass(self, tilt: Decimal) -> Decimal:
        one = Decimal(0)
        for chance in reversed(self.chances):
            one = WIDE.fma(one, tilt, wide(chance))
        return WIDE.power(one, self.n_families)

    def _tilted(self, tilt: float) -> Mass:
        tilted: Mass = np.array(self.chances, dtype=np.float64)
        # Counted from the least possible hits: a tiny tilt must not turn the whole law to 0.
        tilted *= np.power(tilt, np.maximum(np.arange(tilted.size) - self.least_of_one(), 0))
        tilted /= tilted.sum()
        return tilted

    def moments(self, tilt: float) -> tuple[float, float]:
        tilted = self._tilted(tilt)
        hits = np.arange(tilted.size)
        mean = float(tilted @ hits)
        return self.n_families * mean, self.n_families * float(tilted @ (hits - mean) ** 2)

    def window(self, tilt: float, *, whole: bool) -> Window:
        return repeated_window(self._tilted(tilt), times=self.n_families, whole=whole)


def weighted_sum(parts: Sequence[Part], hits: int, tilt: float, *, whole: bool) -> float:
    """Sum over j <= hits of ``tilt**(hits - j)`` times the tilted chance of j hits."""
    pool = summed_window([part.window(tilt, whole=whole) for part in parts], whole=whole)
    tail = pool.mass[: max(0, hits - pool.start + 1)]
    top = pool.start + tail.size - 1
    if tilt == 1.0:
        return float(tail.sum())
    return float(tail[::-1] @ np.power(tilt, np.arange(hits - top, hits - top + tail.size)))


def tilt_for(parts: Sequence[Part], hits: int) -> float:
    """The factor t, from 0 to 1, with which the tilted mean is about ``hits``; 1 if it is below.

    Newton's method on the logarithms, kept inside a bracket. It need not be sharp: the product that
    undoes the tilt uses the very float returned.
    """
    least = sum(part.least for part in parts)
    low, high, log_tilt = -math.inf, 0.0, 0.0
    while True:
        moments = [part.moments(math.exp(log_tilt)) for part in parts]
        mean, variance = (sum(column) for column in zip(*moments, strict=True))
        if (log_tilt == 0.0 and mean <= hits) or (mean - hits) ** 2 <= variance / 100.0:
            return math.exp(log_tilt)
        low, high = (low, log_tilt) if mean > hits else (log_tilt, high)
        excess = mean - least
        if excess > 0.0 and variance > 0.0:
            step = math.log(excess / (hits - least)) * excess / variance
            log_tilt -= min(step, LONGEST_STEP)
        if not low < log_tilt < high:
            log_tilt = (low + high) / 2.0
