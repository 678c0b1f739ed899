"""How much hangs on one keeper, on undeclared clutches, or on successes that nobody reported."""

from __future__ import annotations

from collections import Counter
from collections.abc import Hashable, Mapping, Sequence
from typing import TYPE_CHECKING, Final, TypeVar

import numpy as np
from scipy.special import logsumexp

from genetics.evidence.evalue import (
    PSI_WEIGHTS,
    RATE_WEIGHTS,
    WATCH_E_VALUE,
    EValue,
    e_value,
    largest_null,
    target_viability,
)
from genetics.evidence.likelihood import PoolLikelihood, pool_likelihood

if TYPE_CHECKING:
    from genetics.model.species import Species
    from genetics.pool.pool import PoolRow
    from genetics.pool.target import Target

    Pools = Sequence[tuple[Species, Target, Mapping[PoolRow, int]]]

MOST_SUCCESSES: Final = 200
"""Unreported successes that are tried; a flag that outlives them counts as that many."""

MOST_TRIED: Final = 3
"""Keepers that are taken out in turn to find the most influential one."""

Keeper = TypeVar("Keeper", bound=Hashable)


def declared_only(pools: Pools) -> EValue | None:
    """E-value of the clutches that were declared before hatching; None if there are none."""
    found = []
    for species, target, rows in pools:
        declared: Counter[PoolRow] = Counter()
        for row, times in rows.items():
            part = row.declared_only()
            if part is not None:
                declared[part] += times
        if declared:
            found.append((species, target, declared))
    if not found:
        return None
    return e_value(pool_likelihood(found, target_viability(found[0][1])))


def without_top_keeper(by_keeper: Mapping[Keeper, Pools]) -> EValue | None:
    """Smallest e-value that is left when one keeper's clutches are taken out.

    None for a pool of one keeper: without them nothing is left. Only the ``MOST_TRIED`` keepers
    whose clutches speak most for a shortage, where the whole pool puts it, are taken out in turn.
    """
    if len(by_keeper) <= 1:
        return None
    own = {
        keeper: pool_likelihood(pools, target_viability(pools[0][1]))
        for keeper, pools in by_keeper.items()
    }
    influence = _influence(own)
    tried = sorted(influence, key=lambda keeper: -influence[keeper])[:MOST_TRIED]
    found = []
    for left_out in tried:
        rest = [pool for keeper, pools in by_keeper.items() if keeper != left_out for pool in pools]
        found.append(e_value(pool_likelihood(rest, target_viability(rest[0][1]))))
    return min(found, key=lambda one: one.log10)


def _influence(own: Mapping[Keeper, PoolLikelihood]) -> dict[Keeper, float]:
    """How much each keeper's clutches speak for the best shortage against the best Mendel."""
    rates = np.array([0.0, *RATE_WEIGHTS, 0.6, 0.8, 0.95])
    logs = {keeper: one.log_at(rates) for keeper, one in own.items()}
    total = sum(logs.values(), start=np.zeros((len(PSI_WEIGHTS) + 1, len(rates))))
    short = np.unravel_index(int(np.argmax(total[:-1])), total[:-1].shape)
    mendel = int(np.argmax(total[-1]))
    # Clutches that neither side explains (minus infinity in both) speak for neither.
    return {
        keeper: float(one[short] - one[-1, mendel]) if np.isfinite(one[-1, mendel]) else 0.0
        for keeper, one in logs.items()
    }


def successes_to_undo(
    likelihood: PoolLikelihood, *, hit_chance: float, threshold: float = WATCH_E_VALUE
) -> int:
    """Fewest unreported hatchlings of the combination that would take the evidence below a value.

    Parameters
    ----------
    likelihood
        Of the pool, under ``target_viability``.
    hit_chance
        Mean chance of the hit cell in the pool, strictly between 0 and 1: each added hatchling is
        taken for one of such parents, who certainly carry what they should.

    Returns
    -------
    0 if the evidence is below the value as it is.
    """
    rates = np.array(list(RATE_WEIGHTS))
    last = likelihood.n_ways - 1
    logs = logsumexp(
        likelihood.log_at(rates, slice(0, last)) + np.log(list(RATE_WEIGHTS.values())), axis=1
    ) + np.log(list(PSI_WEIGHTS.values()))
    null, _rate = largest_null(likelihood)
    psis = np.array(list(PSI_WEIGHTS))
    with np.errstate(divide="ignore"):
        each = np.log(psis / (1 - (1 - psis) * hit_chance))
    for n in range(MOST_SUCCESSES):
        added = n * each if n else np.zeros(len(psis))
        if logsumexp(logs + added) - null < np.log(threshold):
            return n
    return MOST_SUCCESSES
