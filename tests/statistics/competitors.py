"""What the evidence is held against: a naive test, MaxSPRT, and Wald's test that knows the truth.

All of them look at hits and hatchlings after every clutch and take every parent at its word.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from scipy.special import xlogy
from scipy.stats import binom

Counts = NDArray[np.int64]
Floats = NDArray[np.float64]

ALPHA = 0.05


def first_crossings(crossed: NDArray[np.bool_]) -> Counts:
    """First look of each pool at which something is so; -1 if never."""
    return np.where(crossed.any(axis=1), crossed.argmax(axis=1), -1)


def naive_flags(hits: Counts, hatchlings: Counts, *, chance: float) -> Counts:
    """Pooled one-sided binomial test at 5 %, looked at after every clutch."""
    return first_crossings(binom.cdf(hits, hatchlings, chance) <= ALPHA)


def wald_flags(hits: Counts, hatchlings: Counts, *, chance: float, psi: float) -> Counts:
    """Wald's sequential ratio of the true law to Mendel's, open-ended, at odds of 1 to alpha.

    A. Wald (1947), Sequential Analysis; with no wish to accept Mendel there is one boundary.
    """
    short = psi * chance / (1 - chance + psi * chance)
    log_ratio = (
        xlogy(hits, short)
        + xlogy(hatchlings - hits, 1 - short)
        - xlogy(hits, chance)
        - xlogy(hatchlings - hits, 1 - chance)
    )
    return first_crossings(log_ratio >= -np.log(ALPHA))


def log_ratios(hits: Counts, hatchlings: Counts, *, chance: float) -> Floats:
    """Maximised log-likelihood ratio of MaxSPRT for a deficit; 0 where there is none.

    M. Kulldorff et al. (2011), Sequential Analysis 30, 58-78, with the tail turned round.
    """
    misses = hatchlings - hits
    found = (
        xlogy(hits, hits / hatchlings)
        + xlogy(misses, misses / hatchlings)
        - xlogy(hits, chance)
        - xlogy(misses, 1 - chance)
    )
    return np.where(hits < chance * hatchlings, found, 0.0)


def maxsprt_flags(hits: Counts, hatchlings: Counts, *, chance: float, critical: float) -> Counts:
    return first_crossings(log_ratios(hits, hatchlings, chance=chance) >= critical)


def chance_of_signal(critical: float, *, chance: float, looks: Sequence[int]) -> float:
    """Chance under Mendel that MaxSPRT ever signals, by exact recursion over the looks.

    Parameters
    ----------
    looks
        Hatchlings at each look, rising.
    """
    alive = np.ones(1)
    signalled = 0.0
    before = 0
    for n in looks:
        step = binom.pmf(np.arange(n - before + 1), n - before, chance)
        alive = np.convolve(alive, step)
        over = log_ratios(np.arange(n + 1), np.full(n + 1, n), chance=chance) >= critical
        signalled += float(alive[over].sum())
        alive[over] = 0.0
        before = n
    return signalled


@lru_cache(maxsize=64)
def critical_value(*, chance: float, looks: tuple[int, ...], alpha: float = ALPHA) -> float | None:
    """Smallest level that MaxSPRT can reach whose chance of a signal is at most ``alpha``.

    None if there is none: no outcome within these looks is rare enough to be a signal.
    """
    reached = np.concatenate(
        [log_ratios(np.arange(n + 1), np.full(n + 1, n), chance=chance) for n in looks]
    )
    # Levels that differ by rounding alone are one level; the least of them stands for it.
    levels = np.sort(reached[reached > 0])
    levels = levels[np.concatenate(([True], np.diff(levels) > 1e-11))]
    low, high = 0, len(levels)
    while low < high:
        middle = (low + high) // 2
        if chance_of_signal(float(levels[middle]) - 1e-12, chance=chance, looks=looks) <= alpha:
            high = middle
        else:
            low = middle + 1
    return float(levels[low]) if low < len(levels) else None
