"""Exact pooled tail: how likely so few hits are when every clutch has its own chance.

The number of hits of a pool is a sum of independent counts: one binomial count per distinct chance
(equal chances are grouped, however many clutches they come from) and one count per family whose
parents are uncertain. Its law is computed *tilted*: chances are multiplied through by ``t**hits``
so that the hits seen are the mean, where nothing is small; the factor that undoes it is a product
in 50-digit decimals. So the far tail is as precise as the middle.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from typing import Final

from genetics.errors import (
    ChanceOutOfRangeError,
    CountsOutOfRangeError,
    HitsOutOfRangeError,
    LevelOutOfRangeError,
)
from genetics.evidence.tilting import EqualChances, EqualFamilies, Part, tilt_for, weighted_sum
from genetics.exact import (
    FLOAT_SUM_TOLERANCE,
    WIDE,
    WINDOW_SUM_FLOOR,
    log10_of,
    smallest_power,
)

#: Odds that the tilted arithmetic carries without leaving the range of a float.
_LARGEST_ODDS: Final = Fraction(10) ** 150


@dataclass(frozen=True, slots=True)
class HitLaw:
    """Law of the number of hits of one family whose parents are uncertain.

    Parameters
    ----------
    chances
        Chance of 0, 1, ... n hits among the family's n hatchlings, each from 0 to 1. Fractions sum
        to exactly 1; floats to 1 within 1e-9, and are scaled to it.

    Raises
    ------
    ChanceOutOfRangeError
    """

    chances: tuple[Fraction | float, ...]

    def __post_init__(self) -> None:
        for chance in self.chances:
            if not 0 <= chance <= 1:
                raise ChanceOutOfRangeError(
                    f"A law of hits holds {chance}; every chance lies from 0 to 1.",
                    chance=str(chance),
                )
        total = sum((Fraction(chance) for chance in self.chances), Fraction(0))
        in_floats = any(isinstance(chance, float) for chance in self.chances)
        if abs(total - 1) > (FLOAT_SUM_TOLERANCE if in_floats else 0):
            raise ChanceOutOfRangeError(
                f"The chances of a law of hits sum to {float(total)}, not to 1.",
                total=str(total),
            )

    @property
    def n_hatchlings(self) -> int:
        """Hatchlings of the family."""
        return len(self.chances) - 1

    def exact_chances(self) -> tuple[Fraction, ...]:
        """The chances as Fractions that sum to exactly 1."""
        exact = [Fraction(chance) for chance in self.chances]
        total = sum(exact, Fraction(0))
        return tuple(exact) if total == 1 else tuple(chance / total for chance in exact)


@dataclass(frozen=True, slots=True)
class TailResult:
    """Chance of at most ``hits`` among ``n_hatchlings``, and of none.

    ``expected`` is exact, in hatchlings. ``probability`` and ``chance_of_none`` are 0.0 only below
    the smallest float (about 5e-324); their logarithms to base 10 go on. Minus infinity means that
    the pool can not give so few.
    """

    hits: int
    n_hatchlings: int
    expected: Fraction
    probability: float
    log10_probability: float
    chance_of_none: float
    log10_chance_of_none: float


def pooled_tail(
    *,
    hits: int,
    hatchlings_by_chance: Mapping[Fraction, int],
    laws: Mapping[HitLaw, int] | None = None,
) -> TailResult:
    """Chance of at most ``hits`` in the hit cell if every clutch follows Mendel.

    Parameters
    ----------
    hits
        Hatchlings in the hit cell, whole pool; from 0 to the number of hatchlings.
    hatchlings_by_chance
        Chance of the hit cell for one hatchling, strictly between 0 and 1 -> hatchlings.
    laws
        Law of the hits of a family with uncertain parents -> number of such families. Their
        hatchlings are not in ``hatchlings_by_chance``.

    Returns
    -------
    ``probability`` with relative error <= 1e-12, down to 1e-30 and below (the error does not grow
    as the tail shrinks) for up to 10 million hatchlings; ``chance_of_none`` to the last digit or
    two; ``expected`` exact (for laws given in floats: exact for those floats, scaled to sum 1). An
    empty pool gives 1 and 0. When hits are fewer than the least or as many as the most that the
    pool can give, the answer is exactly 0 or 1.

    Raises
    ------
    HitsOutOfRangeError, ChanceOutOfRangeError, CountsOutOfRangeError

    References
    ----------
    Convolution of one binomial law per chance, no normal approximation: Y. Hong (2013),
    Computational Statistics & Data Analysis 59, 41-51.
    """
    parts = _checked_parts(hatchlings_by_chance, laws or {})
    n_hatchlings = sum(part.n_hatchlings for part in parts)
    if not 0 <= hits <= n_hatchlings:
        raise HitsOutOfRangeError(
            f"{hits} hits do not fit a pool of {n_hatchlings} hatchlings; "
            f"hits are from 0 to {n_hatchlings}.",
            hits=hits,
            n_hatchlings=n_hatchlings,
        )
    none = _product(parts, lambda part: part.wide_chance_of_none())
    probability = none if hits == 0 else _tail(parts, hits)
    return TailResult(
        hits=hits,
        n_hatchlings=n_hatchlings,
        expected=sum((part.expected() for part in parts), Fraction(0)),
        probability=float(probability),
        log10_probability=log10_of(probability),
        chance_of_none=float(none),
        log10_chance_of_none=log10_of(none),
    )


def hatchlings_until_none_surprises(*, chance: Fraction, level: Fraction = Fraction(1, 20)) -> int:
    """Fewest hatchlings at which even none at all has a probability below ``level``.

    Exact: a tie, ``(1 - chance)**n == level``, is not below.

    Raises
    ------
    ChanceOutOfRangeError, LevelOutOfRangeError
        Both lie strictly between 0 and 1.
    """
    _check_inside(chance)
    if not 0 < level < 1:
        raise LevelOutOfRangeError(
            f"The level is {level}; it lies strictly between 0 and 1.", level=level
        )
    return smallest_power({1 - chance: Fraction(1)}, level, strict=True)


def _check_inside(chance: Fraction) -> None:
    if not 0 < chance < 1:
        raise ChanceOutOfRangeError(
            f"The chance of a hit is {chance}; it lies strictly between 0 and 1.", chance=chance
        )


def _checked_parts(
    hatchlings_by_chance: Mapping[Fraction, int], laws: Mapping[HitLaw, int]
) -> list[Part]:
    for count in (*hatchlings_by_chance.values(), *laws.values()):
        if count < 0:
            raise CountsOutOfRangeError(f"A pool holds the count {count}.", count=count)
    parts: list[Part] = []
    for chance, n_hatchlings in hatchlings_by_chance.items():
        _check_inside(chance)
        odds = Fraction(chance) / (1 - Fraction(chance))
        if not 1 / _LARGEST_ODDS <= odds <= _LARGEST_ODDS:
            raise ChanceOutOfRangeError(
                "The chance of a hit is nearer to 0 or 1 than 1e-150.", chance=chance
            )
        if n_hatchlings:
            parts.append(EqualChances(Fraction(chance), n_hatchlings, float(odds)))
    parts += [
        EqualFamilies(law.exact_chances(), n_families)
        for law, n_families in laws.items()
        if n_families and law.n_hatchlings
    ]
    return parts


def _tail(parts: Sequence[Part], hits: int) -> Decimal:
    if hits < sum(part.least for part in parts):
        return Decimal(0)
    if hits >= sum(part.most for part in parts):
        return Decimal(1)
    if hits == sum(part.least for part in parts):
        return _product(parts, lambda part: part.wide_chance_of_least())
    tilt = tilt_for(parts, hits)
    weighted = weighted_sum(parts, hits, tilt, whole=False)
    if weighted < WINDOW_SUM_FLOOR:
        # A law with a gap where the hits lie: what the windows leave out could be all that counts.
        weighted = weighted_sum(parts, hits, tilt, whole=True)
    exact_tilt = Decimal(tilt)
    undo = _product(parts, lambda part: part.wide_mass(exact_tilt))
    undo = WIDE.divide(undo, WIDE.power(exact_tilt, hits))
    return min(Decimal(1), WIDE.multiply(undo, Decimal(weighted)))


def _product(parts: Sequence[Part], factor: Callable[[Part], Decimal]) -> Decimal:
    result = Decimal(1)
    for part in parts:
        result = WIDE.multiply(result, factor(part))
    return result
