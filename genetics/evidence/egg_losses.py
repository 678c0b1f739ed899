"""What the eggs say: if a combination dies in the egg, more developed eggs are lost.

Eggs are lost for other reasons as well, at a rate that differs from clutch to clutch and from pool
to pool: python clutches lost 19 % of 5,344 eggs with genes unknown (Morrill et al. 2011,
Herpetological Review 42, 226-231). So each clutch has a loss rate of its own from a beta law, whose
mean and spread are integrated out over the pool. What is left is what goes along with the chance of
the combination.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from fractions import Fraction
from functools import lru_cache
from typing import TYPE_CHECKING, Final

import numpy as np
from scipy.special import logsumexp
from scipy.stats import beta

from genetics.cross.offspring import Pairing, chance_law, mean_chance
from genetics.model.belief import belief_of

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from genetics.model.belief import ParentStatement
    from genetics.model.species import Species
    from genetics.pool.pool import PoolRow
    from genetics.pool.target import Target

    Floats = NDArray[np.float64]

_EDGES: Final = np.concatenate(
    ([0.0], np.geomspace(1e-6, 0.02, 40), np.linspace(0.02, 1.0, 50)[1:])
)
_LOSS_RATES: Final = (_EDGES[1:] + _EDGES[:-1]) / 2
"""Loss rates that stand for a stretch each, close to 0 where most clutches lose nothing."""

_MEANS: Final = (0.01, 0.03, 0.06, 0.1, 0.15, 0.2, 0.3, 0.4)
_SPREADS: Final = (3.0, 12.0, 60.0)
"""Sum of the two parameters of the beta law: small for clutches that differ widely."""


def _log_loss_laws() -> Floats:
    """Log-weights of the loss rates for every mean and spread, shape (laws, rates)."""
    laws = np.array(
        [
            np.diff(beta.cdf(_EDGES, mean * spread, (1 - mean) * spread))
            for mean in _MEANS
            for spread in _SPREADS
        ]
    )
    with np.errstate(divide="ignore"):
        return np.asarray(np.log(laws))


_LOG_LOSS_LAWS: Final = _log_loss_laws()


def log_egg_chances(
    pools: Sequence[tuple[Species, Target, Mapping[PoolRow, int]]], psis: tuple[float, ...]
) -> Floats:
    """Log-chance of the eggs that died for each recovery ratio, less that under Mendel.

    Clutches whose dead eggs were not counted say nothing.
    """
    seen: Counter[tuple[float, int, int]] = Counter()
    for species, target, rows in pools:
        for row, times in rows.items():
            for clutch in row.clutches:
                if clutch.n_died is not None:
                    hatched = sum(cell.count for cell in clutch.cells)
                    parents = row.sires[clutch.sire], row.dams[clutch.dam]
                    hit_chance = float(_hit_chance(species, target, *parents))
                    seen[hit_chance, clutch.n_died, hatched] += times
    total = np.zeros((len(psis) + 1, len(_LOG_LOSS_LAWS)))
    for (chance, died, hatched), times in seen.items():
        total += times * _log_chances(chance, died, hatched, (*psis, 1.0))
    logs = logsumexp(total, axis=1)
    return np.asarray(logs[:-1] - logs[-1])


@lru_cache(maxsize=16384)
def _hit_chance(
    species: Species, target: Target, sire: ParentStatement, dam: ParentStatement
) -> Fraction:
    pairing = Pairing(species, belief_of(species, sire), belief_of(species, dam))
    return mean_chance(chance_law(pairing, target.wanted))


@lru_cache(maxsize=65536)
def _log_chances(chance: float, died: int, hatched: int, psis: tuple[float, ...]) -> Floats:
    """Log-chance of one clutch's eggs, shape (recovery ratios, laws of the loss rate)."""
    found = []
    for psi in psis:
        lost = 1 - (1 - _LOSS_RATES) * (1 - (1 - psi) * chance)
        logs = died * np.log(lost) + hatched * np.log1p(-lost)
        found.append(logsumexp(logs + _LOG_LOSS_LAWS, axis=1))
    return np.array(found)
