"""E-value against "the combination hatches as often as Mendel says", whatever the parents are.

Universal inference: a mixture of likelihoods over the recovery ratio ``psi`` and the nuisance rate
``c`` divided by the largest likelihood under ``psi = 1`` over ``c``. The mixture ratio for the true
``c`` is a nonnegative martingale with mean 1 under the null, and the denominator is never smaller
than at the true ``c``, so the chance of ever reaching ``1 / alpha`` is at most ``alpha``: however
often anyone looks, whatever share of the parents is mislabelled.

L. Wasserman, A. Ramdas, S. Balakrishnan (2020), Universal inference, PNAS 117, 16880-16890.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, Final

import numpy as np
from scipy.special import logsumexp

from genetics.evidence.likelihood import Distortions, PoolLikelihood

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from genetics.pool.target import Target

    Floats = NDArray[np.float64]

PSI_WEIGHTS: Final = {
    0.0: 0.5,
    0.05: 0.05,
    0.1: 0.05,
    0.2: 0.08,
    0.3: 0.1,
    0.4: 0.08,
    0.5: 0.06,
    0.6: 0.04,
    0.7: 0.04,
}
"""Mixture over the recovery ratio: half on never, the rest spread over (0, 1)."""

RATE_WEIGHTS: Final = {0.002: 0.3, 0.02: 0.2, 0.05: 0.2, 0.1: 0.15, 0.2: 0.1, 0.4: 0.05}
"""Mixture over the nuisance rate, the chance that a stated gene of a parent is not there."""

WATCH_E_VALUE: Final = 20.0
"""A combination is on watch from here: by luck alone ever reached once in twenty at most."""

#: Nuisance rates at which the largest null likelihood is looked for; then three times closer by.
_NULL_RATES: Final = np.concatenate(
    ([0.0], np.geomspace(1e-4, 0.1, 60), np.linspace(0.105, 1.0, 120))
)
_ZOOMS: Final = 3


@dataclass(frozen=True, slots=True)
class EValue:
    """Evidence against Mendel for one target; ``log10`` goes on where ``value`` would overflow.

    ``null_rate`` is the nuisance rate at which Mendel does best.
    """

    log10: float
    null_rate: float

    @property
    def value(self) -> float:
        """The e-value itself, at most 1e300."""
        return float(10.0 ** min(self.log10, 300.0))


@lru_cache(maxsize=4096)
def viability(n_cells: int) -> Distortions:
    """The ways of ``PSI_WEIGHTS``, and Mendel last: the hit cell hatches ``psi`` as often."""
    return psi_distortions((*PSI_WEIGHTS, 1.0), n_cells)


def psi_distortions(psis: tuple[float, ...], n_cells: int) -> Distortions:
    """One way for each recovery ratio: the weight of the hit cell, the last one, times ``psi``."""
    maps = np.tile(np.eye(n_cells), (len(psis), 1, 1))
    maps[:, -1, -1] = psis
    return Distortions(maps=maps)


def e_value(likelihood: PoolLikelihood) -> EValue:
    """The e-value of a pool whose likelihood was taken under ``viability``."""
    rates = np.array(list(RATE_WEIGHTS))
    weights = np.log(np.outer(list(PSI_WEIGHTS.values()), list(RATE_WEIGHTS.values())))
    last = likelihood.n_ways - 1
    mixture = logsumexp(likelihood.log_at(rates, slice(0, last)) + weights)
    null, rate = largest_null(likelihood)
    if not np.isfinite(null):
        # Nothing that the parents could be gives such hatchlings; neither side explains them.
        return EValue(log10=0.0, null_rate=rate)
    return EValue(log10=float((mixture - null) / np.log(10)), null_rate=rate)


def largest_null(likelihood: PoolLikelihood, way: int | None = None) -> tuple[float, float]:
    """Largest log-likelihood of one way over the nuisance rate, and where; Mendel's, the last."""
    number = likelihood.n_ways - 1 if way is None else way
    only = slice(number, number + 1)
    rates = _NULL_RATES
    logs = likelihood.log_at(rates, only)[0]
    best = int(np.argmax(logs))
    for _zoom in range(_ZOOMS):
        low, high = rates[max(best - 1, 0)], rates[min(best + 1, len(rates) - 1)]
        rates = np.linspace(low, high, 41)
        logs = likelihood.log_at(rates, only)[0]
        best = int(np.argmax(logs))
    return float(logs[best]), float(rates[best])


def target_viability(target: Target) -> Distortions:
    """``viability`` for the cells of a target."""
    return viability(target.n_cells)
