"""Recovery ratio: how often the combination hatches against expectation, with its interval.

Profile likelihood in ``psi``, the nuisance rate at its best for every value. The 95 % interval
holds the values whose log-likelihood is at most half the 95 % point of a chi-square with one degree
of freedom below the largest. Where the likelihood is largest at the border ``psi = 0``, nothing hit
for certain, and the likelihood against that at the border is the chance of no hit: the interval is
one-sided then and ends where that chance is 5 %.

Between the values of ``psi`` that are computed the profile is a cubic spline in ``log(psi)``: it is
as smooth there as a binomial likelihood, whose interval may be far narrower than their distance.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, Final

import numpy as np
from scipy.interpolate import CubicSpline
from scipy.stats import chi2

from genetics.evidence.evalue import psi_distortions
from genetics.evidence.likelihood import Distortions, PoolLikelihood, pool_likelihood
from genetics.exact import ROUNDING_OF_PROFILES

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from genetics.model.species import Species
    from genetics.pool.pool import PoolRow
    from genetics.pool.target import Target

    Floats = NDArray[np.float64]

LEVEL: Final = 0.95
LARGEST_PSI: Final = 5.0
SMALLEST_PSI: Final = 1e-4
"""Smallest recovery ratio that is told from never."""

PSIS: Final = (0.0, *np.geomspace(SMALLEST_PSI, LARGEST_PSI, 90).tolist())
_RATES: Final = np.concatenate(([0.0], np.geomspace(1e-3, 0.1, 25), np.linspace(0.12, 1.0, 45)))


@dataclass(frozen=True, slots=True)
class Recovery:
    """Estimate and interval of the recovery ratio.

    ``high`` is at most ``LARGEST_PSI``; a ``low`` below ``SMALLEST_PSI`` is given as 0.
    """

    estimate: float
    low: float
    high: float
    level: float


@lru_cache(maxsize=64)
def _ways(n_cells: int) -> Distortions:
    return psi_distortions(PSIS, n_cells)


def recovery_ratio(
    pools: Sequence[tuple[Species, Target, Mapping[PoolRow, int]]], *, level: float = LEVEL
) -> Recovery:
    """The recovery ratio of a pool with hatchlings; anything at all if no parents fit them."""
    profile = _profile(pool_likelihood(pools, _ways(pools[0][1].n_cells)))
    if not np.isfinite(profile[1:]).all():
        return Recovery(estimate=1.0, low=0.0, high=LARGEST_PSI, level=level)
    curve = CubicSpline(np.log(PSIS[1:]), profile[1:])
    at, top = _peak(curve)
    if profile[0] >= top - ROUNDING_OF_PROFILES:
        # A flat profile as well: parents that do not carry it explain everything, at any ratio.
        ends = _where(curve, profile[0] - _allowed_drop(level, at_border=True))
        high = float(np.exp(ends.min())) if ends.size else LARGEST_PSI
        return Recovery(estimate=0.0, low=0.0, high=high, level=level)
    ends = _where(curve, top - _allowed_drop(level, at_border=False))
    below, above = ends[ends < at], ends[ends > at]
    return Recovery(
        estimate=float(np.exp(at)),
        low=float(np.exp(below.max())) if below.size else 0.0,
        high=float(np.exp(above.min())) if above.size else LARGEST_PSI,
        level=level,
    )


def _profile(likelihood: PoolLikelihood) -> Floats:
    """Largest log-likelihood of every ``psi``; rates are closer by where the best one has its."""
    logs = likelihood.log_at(_RATES)
    place = int(np.argmax(logs.max(axis=0)))
    low, high = _RATES[max(place - 1, 0)], _RATES[min(place + 1, len(_RATES) - 1)]
    closer = likelihood.log_at(np.linspace(low, high, 81))
    return np.asarray(np.maximum(logs.max(axis=1), closer.max(axis=1)))


def _peak(curve: CubicSpline) -> tuple[float, float]:
    """Where a profile has its top, and how high that is."""
    level = curve.derivative().roots(extrapolate=False)
    places = np.concatenate((curve.x, level[np.isfinite(level)]))
    best = int(np.argmax(curve(places)))
    return float(places[best]), float(curve(places[best]))


def _where(curve: CubicSpline, value: float) -> Floats:
    """Every place at which a profile has this value."""
    found = np.asarray(curve.solve(value, extrapolate=False), dtype=np.float64)
    return np.asarray(found[np.isfinite(found)])


def _allowed_drop(level: float, *, at_border: bool) -> float:
    """How far below its top the log-likelihood may lie within the interval."""
    return -math.log(1 - level) if at_border else float(chi2.ppf(level, 1)) / 2
