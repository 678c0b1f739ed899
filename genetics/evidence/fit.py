"""How surprising a clutch is if its parents are what they are said to be.

Exact multinomial test: the chance of an outcome at most as likely as the one seen. The parents may
be uncertain, so that the likelihood of an outcome is a mixture over what they may really carry.
Likelihoods are compared, and summed, as integers: ties are ties.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import accumulate
from typing import Final

import numpy as np
from scipy import stats

from genetics.errors import ChanceOutOfRangeError, CountsOutOfRangeError, TooManyOutcomesError
from genetics.evidence.outcomes import LookGroup, n_steps, unlikely_mass

#: Steps of the enumeration beyond which looks are merged; a second of work at the most.
MOST_STEPS: Final = 100_000
#: A clutch is smaller than this; the whole numbers compared have some thousand digits here.
MOST_HATCHLINGS: Final = 2_000


@dataclass(frozen=True, slots=True)
class ClassChances:
    """Chances of the looks of one clutch.

    Parameters
    ----------
    chances
        One row per state the parents may really be in, one column per look; from 0 to 1, each row
        sums to exactly 1.
    weights
        Weight of each state, from 0 to 1, summing to exactly 1.

    Raises
    ------
    ChanceOutOfRangeError
    """

    chances: tuple[tuple[Fraction, ...], ...]
    weights: tuple[Fraction, ...]

    def __post_init__(self) -> None:
        if len(self.weights) != len(self.chances):
            raise ChanceOutOfRangeError(
                f"{len(self.weights)} weights do not fit {len(self.chances)} states of the parents."
            )
        if len({len(row) for row in self.chances}) > 1:
            raise ChanceOutOfRangeError("Every state of the parents needs a chance for each look.")
        for row in (self.weights, *self.chances):
            if any(not 0 <= chance <= 1 for chance in row) or sum(row) != 1:
                raise ChanceOutOfRangeError(
                    f"The chances {', '.join(map(str, row))} must lie from 0 to 1 and sum to 1.",
                    chances=list(row),
                )

    def by_look(self) -> list[tuple[Fraction, ...]]:
        """For each look its chance in every state."""
        return list(zip(*self.chances, strict=True))


@dataclass(frozen=True, slots=True)
class SurpriseResult:
    """Chance of an outcome at most as likely as the one seen, if the parents are as stated.

    ``n_outcomes`` is the number of different outcomes compared; ``merged_looks`` is how many of the
    rarest looks were counted as one to keep that number in bounds (0: none, the test is of all
    looks).
    """

    probability: float
    n_outcomes: int
    merged_looks: int


@dataclass(frozen=True, slots=True)
class ChiSquareResult:
    """Pearson's statistic, its degrees of freedom and upper-tail probability."""

    statistic: float
    df: int
    p_value: float


def surprise(
    *,
    class_chances: ClassChances,
    counts: Sequence[int],
    most_steps: int = MOST_STEPS,
) -> SurpriseResult:
    """How surprising the counts of a clutch are, exactly.

    Looks with the same chance in every state are interchangeable, so outcomes that differ by
    swapping them are walked through once. When even so they are too many, the rarest looks (of
    smallest mean chance) are merged into one until they are not; the result says how many.

    Parameters
    ----------
    class_chances
        Chance of each look in every state the parents may be in.
    counts
        Hatchlings per look, 0 or more, in the order of the looks.
    most_steps
        Limit on the work: outcomes walked through, swaps not counted.

    Returns
    -------
    ``probability`` is the float nearest to the exact value: 1 for an empty clutch, 0 for counts
    that the parents can not give (unless merged with what they can).

    Raises
    ------
    CountsOutOfRangeError
    TooManyOutcomesError
        More than 2,000 hatchlings, or more than the limit leaves room for even with two looks;
        ``chi_square_fit`` is for such tables.

    References
    ----------
    The rule "all outcomes with a probability at most that of the observed one" is the one of the
    exact multinomial test and of ``scipy.stats.binomtest``.
    """
    looks = class_chances.by_look()
    _check_counts(counts, n_looks=len(looks))
    if sum(counts) > MOST_HATCHLINGS:
        raise TooManyOutcomesError(
            f"{sum(counts)} hatchlings are more than the {MOST_HATCHLINGS} of an exact test.",
            hatchlings=sum(counts),
            limit=MOST_HATCHLINGS,
        )
    rows = [(chances, count) for chances, count in zip(looks, counts, strict=True)]
    if any(count and not _mean(chances, class_chances) for chances, count in rows):
        return SurpriseResult(0.0, _n_outcomes(sum(counts), len(looks)), 0)
    rows = [row for row in rows if _mean(row[0], class_chances)]
    rows.sort(key=lambda row: _mean(row[0], class_chances), reverse=True)
    rows, merged = _few_enough(rows, most_steps=most_steps)
    unlikely = unlikely_mass(_groups(rows), weights=class_chances.weights)
    return SurpriseResult(float(unlikely), _n_outcomes(sum(counts), len(rows)), merged)


def chi_square_fit(
    *, expected_chances: Sequence[Fraction], counts: Sequence[int]
) -> ChiSquareResult:
    """Pearson's chi-square test of fit, for tables too big for ``surprise``.

    Parameters
    ----------
    expected_chances
        Chance of each look, summing to exactly 1. A look of chance 0 with no hatchling is left out.
    counts
        Hatchlings per look, 0 or more, at least one in all.

    Raises
    ------
    ChanceOutOfRangeError
        Fewer than two looks of a chance above 0.
    CountsOutOfRangeError
        A hatchling of a look of chance 0 fits no chi-square law; no hatchlings at all neither.
    """
    ClassChances((tuple(expected_chances),), (Fraction(1),))
    _check_counts(counts, n_looks=len(expected_chances))
    pairs = list(zip(expected_chances, counts, strict=True))
    if not sum(counts) or any(count and not chance for chance, count in pairs):
        raise CountsOutOfRangeError(
            "A chi-square fit needs hatchlings, and none of a look that has no chance.",
            counts=list(counts),
        )
    possible = [(chance, count) for chance, count in pairs if chance]
    if len(possible) == 1:
        raise ChanceOutOfRangeError("A fit needs two looks or more with a chance above 0.")
    observed = np.array([count for _, count in possible], dtype=np.float64)
    expected = np.array([float(chance * sum(counts)) for chance, _ in possible])
    statistic, p_value = stats.chisquare(observed, expected)
    return ChiSquareResult(float(statistic), len(possible) - 1, float(p_value))


def _check_counts(counts: Sequence[int], *, n_looks: int) -> None:
    if len(counts) != n_looks or any(count < 0 for count in counts):
        raise CountsOutOfRangeError(
            f"The counts {', '.join(map(str, counts))} must be {n_looks}, none below 0.",
            counts=list(counts),
        )


_Row = tuple[tuple[Fraction, ...], int]


def _mean(chances: Sequence[Fraction], class_chances: ClassChances) -> Fraction:
    return sum((c * w for c, w in zip(chances, class_chances.weights, strict=True)), Fraction(0))


def _few_enough(rows: list[_Row], *, most_steps: int) -> tuple[list[_Row], int]:
    """Rows, rarest last, with the rarest merged until the limit holds, and how many were merged.

    Halves its way to a number of merged looks that is enough where one less is not; mostly, and
    not always, that is the smallest, since interchangeable looks are cheap while they are apart.
    """
    n = sum(count for _, count in rows)
    rest = [*accumulate(reversed(rows), _merged)][::-1]

    def kept(merged: int) -> list[_Row]:
        place = len(rows) - merged
        return [*rows[:place], rest[place]]

    def fits(merged: int) -> bool:
        return n_steps(_groups(kept(merged)), n=n) <= most_steps

    if len(rows) == 1 or fits(1):
        return rows, 0
    too_few, enough = 1, len(rows) - 1
    if not fits(enough):
        raise TooManyOutcomesError(
            f"{n} hatchlings of two looks have more than {most_steps} outcomes to compare.",
            hatchlings=n,
            limit=most_steps,
        )
    while enough - too_few > 1:
        middle = (too_few + enough) // 2
        too_few, enough = (too_few, middle) if fits(middle) else (middle, enough)
    return kept(enough), enough


def _merged(one: _Row, other: _Row) -> _Row:
    return tuple(a + b for a, b in zip(one[0], other[0], strict=True)), one[1] + other[1]


def _groups(rows: Sequence[_Row]) -> list[LookGroup]:
    counts_by_chances: dict[tuple[Fraction, ...], list[int]] = {}
    for chances, count in rows:
        counts_by_chances.setdefault(chances, []).append(count)
    return [LookGroup(chances, tuple(counts)) for chances, counts in counts_by_chances.items()]


def _n_outcomes(n: int, n_looks: int) -> int:
    return math.comb(n + n_looks - 1, n_looks - 1)
