"""Evidence of many pools at every look, by adding up what each clutch says.

One family per clutch, so a pool's log-likelihood is a sum over clutches, and few clutches are
different: the sums are running totals. The null is maximised over the grid alone here, which can
only make the evidence too large; so every first crossing is confirmed by the real function.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.special import logsumexp

from genetics.evidence import conditional, evalue
from genetics.evidence.evalue import (
    PSI_WEIGHTS,
    RATE_WEIGHTS,
    WATCH_E_VALUE,
    e_value,
    target_viability,
)
from genetics.evidence.likelihood import pool_likelihood
from tests.statistics.worlds import Pools

Floats = NDArray[np.float64]

NULL_RATES = evalue._NULL_RATES


def log10_at_looks(pools: Pools) -> Floats:
    """Logarithm of the e-value after every clutch, shape (pools, clutches), at most 0.01 high."""
    cross = pools.cross
    kinds, places = np.unique(pools.counts.reshape(-1, 4), axis=0, return_inverse=True)
    places = places.reshape(pools.counts.shape[:2])
    ways = target_viability(cross.target)
    weights = np.log(np.outer(list(PSI_WEIGHTS.values()), list(RATE_WEIGHTS.values()))).ravel()
    null, mixture = [], []
    for kind in kinds.tolist():
        one = pool_likelihood([(cross.species, cross.target, {cross.row(tuple(kind)): 1})], ways)
        null.append(one.log_at(NULL_RATES, slice(len(PSI_WEIGHTS), None))[0])
        mixture.append(one.log_at(np.array(list(RATE_WEIGHTS)), slice(0, len(PSI_WEIGHTS))).ravel())
    nulls, mixtures = np.array(null), np.array(mixture)
    found = np.empty(places.shape)
    for number, own in enumerate(places):
        against = logsumexp(mixtures[own].cumsum(axis=0) + weights, axis=1)
        found[number] = against - nulls[own].cumsum(axis=0).max(axis=1)
    return found / np.log(10)


def first_flags(pools: Pools, log10: Floats | None = None) -> NDArray[np.int64]:
    """First look at which the e-value reaches the level of a watch; -1 if it never does."""
    grid = log10_at_looks(pools) if log10 is None else log10
    found = np.full(len(grid), -1)
    for number, look in np.argwhere(grid >= np.log10(WATCH_E_VALUE)):
        if found[number] < 0 and exact_log10(pools, number, look) >= np.log10(WATCH_E_VALUE):
            found[number] = look
    return found


def exact_log10(pools: Pools, number: int, look: int) -> float:
    """The e-value of one pool at one look, as the service computes it."""
    ways = target_viability(pools.cross.target)
    return e_value(pool_likelihood(pools.pool(number, look + 1), ways)).log10


def specific_at_looks(pools: Pools) -> Floats:
    """Logarithm of the conditional e-value after every clutch."""
    none, first, second, both = np.moveaxis(pools.counts, 2, 0)
    tables = np.stack([none + first + second + both, first + both, second + both, both], axis=-1)
    kinds, places = np.unique(tables.reshape(-1, 4), axis=0, return_inverse=True)
    ratios = []
    for table in kinds.tolist():
        laws = conditional.log_chances(tuple(table), (*PSI_WEIGHTS, 1.0))
        ratios.append(laws[:-1] - laws[-1])
    running = np.array(ratios)[places.reshape(tables.shape[:2])].cumsum(axis=1)
    return logsumexp(running + np.log(list(PSI_WEIGHTS.values())), axis=2) / np.log(10)
