"""Recovery ratio: how often the combination hatches against expectation, with its interval.

Profile likelihood in ``psi``, the nuisance rate at its best for every value. The 95 % interval
holds the values whose log-likelihood is at most half the 95 % point of a chi-square with one degree
of freedom below the largest; at the border ``psi = 0`` it is one-sided there.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, Final

import numpy as np
from scipy.stats import chi2

from genetics.evidence.evalue import psi_distortions
from genetics.evidence.likelihood import Distortions, pool_likelihood

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from genetics.model.species import Species
    from genetics.pool.pool import PoolRow
    from genetics.pool.target import Target

    Floats = NDArray[np.float64]

LEVEL: Final = 0.95
LARGEST_PSI: Final = 5.0
PSIS: Final = tuple(
    float(psi)
    for psi in np.concatenate(
        ([0.0], np.geomspace(0.002, 0.1, 24), np.linspace(0.12, 2.0, 48), np.linspace(2.1, 5.0, 16))
    )
)
_RATES: Final = np.concatenate(([0.0], np.geomspace(1e-3, 0.1, 25), np.linspace(0.12, 1.0, 45)))


@dataclass(frozen=True, slots=True)
class Recovery:
    """Estimate and interval of the recovery ratio; ``high`` is at most ``LARGEST_PSI``."""

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
    """The recovery ratio of a pool with hatchlings."""
    likelihood = pool_likelihood(pools, _ways(pools[0][1].n_cells))
    profile = likelihood.log_at(_RATES).max(axis=1)
    best = int(np.argmax(profile))
    estimate, top = _peak(profile, best)
    drop = profile - (top - float(chi2.ppf(level, 1)) / 2)
    return Recovery(
        estimate=estimate,
        low=_crossing(drop, best, step=-1),
        high=_crossing(drop, best, step=1),
        level=level,
    )


def _peak(profile: Floats, best: int) -> tuple[float, float]:
    """Top of the parabola through the best point and its neighbours; the border as it is."""
    if best in {0, len(PSIS) - 1} or not np.isfinite(profile[best - 1 : best + 2]).all():
        return PSIS[best], float(profile[best])
    x = np.array(PSIS[best - 1 : best + 2])
    curve = np.polynomial.Polynomial.fit(x, profile[best - 1 : best + 2], 2)
    roots = curve.deriv().roots().real
    inside = [float(root) for root in roots if x[0] <= root <= x[2]]
    if not inside:
        return PSIS[best], float(profile[best])
    return inside[0], max(float(curve(inside[0])), float(profile[best]))


def _crossing(drop: Floats, best: int, *, step: int) -> float:
    """Where the profile leaves the interval, walking from the best point; the border if never."""
    place = best
    while 0 <= place + step < len(PSIS):
        before, after = drop[place], drop[place + step]
        if after < 0:
            if not np.isfinite(after):
                return PSIS[place + step]
            share = float(before / (before - after))
            return PSIS[place] + share * (PSIS[place + step] - PSIS[place])
        place += step
    return PSIS[place]
