"""Which of several short combinations is the news: parts explained by wholes, wholes by parts.

A lethal pair makes its single genes short in the clutches that can give both; a gene that falls
short makes every pair with it short. Each question has its own null, in which the other combination
may hatch as rarely as it likes, and its own e-value against it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, Final

import numpy as np
from scipy.special import logsumexp

from genetics.evidence.evalue import (
    PSI_WEIGHTS,
    RATE_WEIGHTS,
    e_value,
    largest_null,
    target_viability,
)
from genetics.evidence.likelihood import Distortions, PoolLikelihood, pool_likelihood

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from genetics.model.species import Species
    from genetics.pool.pool import PoolRow
    from genetics.pool.target import Target

    Floats = NDArray[np.float64]
    Pools = Sequence[tuple[Species, Target, Mapping[PoolRow, int]]]

RATIOS: Final = (0.0, 0.02, 0.05, 0.1, 0.15, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1.0)
"""Recovery ratios that the other combination may have under the null."""


@dataclass(frozen=True, slots=True)
class Beyond:
    """Evidence for a combination beyond another, which explains it best among those tried.

    ``ratio`` is the other's recovery ratio where the null fits best; ``log10`` the logarithm of the
    e-value against the null.
    """

    log10: float
    other: str
    ratio: float


def beyond_parts(pools: Pools) -> Beyond | None:
    """Evidence against "it is short because a part of it is"; ``None`` for a single gene."""
    target = pools[0][1]
    if target.n_factors == 1:
        return None
    parts = _parts(target)
    likelihood = pool_likelihood(pools, _ways_of_parts(target))
    start = len(parts) * len(RATIOS)
    best, number = _best_null(likelihood, range(start))
    part, ratio = divmod(number, len(RATIOS))
    mixture = _mixture(likelihood, start, np.log(list(PSI_WEIGHTS.values())))
    return Beyond(log10=_log10(mixture - best), other=parts[part][0], ratio=RATIOS[ratio])


def beyond_whole(elsewhere: Pools, pools: Pools, part: Target) -> Beyond:
    """Evidence against "a part is short because the whole is".

    Parameters
    ----------
    elsewhere
        Pool of the part from families that can not give the whole; may be empty.
    pools
        Pool of the whole.
    part
        The part: some of the whole's factors.

    Notes
    -----
    The families are different ones, so the two e-values are of independent data and their product
    is one as well.
    """
    whole = pools[0][1]
    mask = _mask_in(whole, part)
    likelihood = pool_likelihood(pools, _ways_of_whole(whole.n_cells, mask))
    start = len(RATIOS)
    best, number = _best_null(likelihood, range(start))
    weights = np.log(np.outer(list(PSI_WEIGHTS.values()), np.full(start, 1 / start))).ravel()
    log10 = _log10(_mixture(likelihood, start, weights) - best)
    if elsewhere:
        log10 += e_value(pool_likelihood(elsewhere, target_viability(elsewhere[0][1]))).log10
    return Beyond(log10=log10, other=" ".join(f.text for f in whole.factors), ratio=RATIOS[number])


def is_part(part: Target, whole: Target) -> bool:
    """Whether every factor of one target is one of another, larger one."""
    return len(part.factors) < len(whole.factors) and set(part.factors) <= set(whole.factors)


def _log10(difference: float) -> float:
    return float(difference / np.log(10)) if np.isfinite(difference) else 0.0


def _best_null(likelihood: PoolLikelihood, ways: range) -> tuple[float, int]:
    return max((largest_null(likelihood, number)[0], number) for number in ways)


def _mixture(likelihood: PoolLikelihood, start: int, log_weights: Floats) -> float:
    rates = np.array(list(RATE_WEIGHTS))
    logs = likelihood.log_at(rates, slice(start, likelihood.n_ways))
    weights = log_weights[:, None] + np.log(list(RATE_WEIGHTS.values()))
    return float(logsumexp(logs + weights))


def _parts(target: Target) -> list[tuple[str, int]]:
    """Every proper part of the target, pairs before single genes, with its bits."""
    single = target.part_masks
    whole = target.n_cells - 1
    pairs = [
        (f"{one[0]} {other[0]}", one[1] | other[1])
        for place, one in enumerate(single)
        for other in single[place + 1 :]
    ]
    return [part for part in (*pairs, *single) if part[1] != whole]


def _mask_in(whole: Target, part: Target) -> int:
    """Bits of a part's factors in the cells of the whole."""
    return sum(
        ((1 << factor.n_bits) - 1) << shift
        for factor, shift in zip(whole.factors, whole.shifts, strict=True)
        if factor in part.factors
    )


@lru_cache(maxsize=1024)
def _ways_of_parts(target: Target) -> Distortions:
    """For each part its ratios, then the recovery ratios of the whole target alone."""
    n = target.n_cells
    maps = [_lessened(n, mask, ratio) for _name, mask in _parts(target) for ratio in RATIOS]
    maps += [_lessened(n, n - 1, psi) for psi in PSI_WEIGHTS]
    return Distortions(maps=np.array(maps))


@lru_cache(maxsize=1024)
def _ways_of_whole(n_cells: int, mask: int) -> Distortions:
    """Ratios of the whole; then, for each recovery ratio of the part, the ratios of the whole."""
    wholes = [_lessened(n_cells, n_cells - 1, ratio) for ratio in RATIOS]
    maps = [
        *wholes,
        *(_lessened(n_cells, mask, psi) @ one for psi in PSI_WEIGHTS for one in wholes),
    ]
    return Distortions(maps=np.array(maps))


def _lessened(n_cells: int, mask: int, ratio: float) -> Floats:
    """Cells that show all bits of a mask hatch ``ratio`` as often."""
    within = [cell for cell in range(n_cells) if cell & mask == mask]
    found = np.eye(n_cells)
    found[within, within] = ratio
    return found
