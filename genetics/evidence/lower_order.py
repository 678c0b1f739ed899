"""Which of several short combinations is the news: parts explained by wholes, wholes by parts.

A lethal pair makes its single genes short in the clutches that can give both; a gene that falls
short makes every pair with it short. Each question has its own null, in which the other combination
may hatch as rarely as it likes, or be called by some of its genes only, and its own e-value against
it. The alternatives are of both kinds as well: a look-alike leaves its whole on the wrong side of
its parts, and without an alternative that moves it there, what is left of the parts would be taken
for the reason.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import combinations
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
from genetics.evidence.explanations import SHARES_MISTAKEN
from genetics.evidence.likelihood import Distortions, PoolLikelihood, pool_likelihood
from genetics.pool.target import Target

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from genetics.model.species import Species
    from genetics.pool.pool import PoolRow

    Floats = NDArray[np.float64]
    Pools = Sequence[tuple[Species, Target, Mapping[PoolRow, int]]]

RATIOS: Final = (0.0, 0.02, 0.05, 0.1, 0.15, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1.0)
"""Recovery ratios that the other combination may have under the null."""

RATIOS_CALLED: Final = (0.0, 0.05, 0.1, 0.2, 0.3, 0.5, 0.7)
"""Shares of the other combination that are called what they are under the null."""


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
    ways = _ways_of_parts(target)
    likelihood = pool_likelihood(pools, ways.distortions)
    best, number = _best_null(likelihood, range(len(ways.nulls)))
    other, ratio = ways.nulls[number]
    mixture = _mixture(likelihood, len(ways.nulls), ways.log_weights)
    return Beyond(log10=_log10(mixture - best), other=other, ratio=ratio)


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
    ways = _ways_of_whole(whole, mask)
    likelihood = pool_likelihood(pools, ways.distortions)
    best, number = _best_null(likelihood, range(len(ways.nulls)))
    log10 = _log10(_mixture(likelihood, len(ways.nulls), ways.log_weights) - best)
    if elsewhere:
        log10 += e_value(pool_likelihood(elsewhere, target_viability(elsewhere[0][1]))).log10
    other, ratio = ways.nulls[number]
    return Beyond(log10=log10, other=other, ratio=ratio)


def is_part(part: Target, whole: Target) -> bool:
    """Whether every factor of one target is one of another, larger one, in any version."""
    return len(part.factors) < len(whole.factors) and _names(part) <= _names(whole)


def parts_of(target: Target) -> list[Target]:
    """Every combination of some of the factors of a target, but not of all."""
    return [
        Target(factors=chosen)
        for size in range(1, len(target.factors))
        for chosen in combinations(target.factors, size)
    ]


def _names(target: Target) -> set[tuple[str, str]]:
    return {(factor.locus, factor.text) for factor in target.factors}


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
        if (factor.locus, factor.text) in _names(part)
    )


@dataclass(frozen=True, eq=False)
class _Ways:
    """Ways of the null, with the other combination and its ratio; then those of the mixture."""

    distortions: Distortions
    nulls: tuple[tuple[str, float], ...]
    log_weights: Floats


@lru_cache(maxsize=1024)
def _ways_of_parts(target: Target) -> _Ways:
    """Null: each part hatches or is called more rarely; mixture: the whole target alone is.

    Half of the mixture's weight is on the recovery ratios, half on the whole being called by some
    of its genes or by none.
    """
    n = target.n_cells
    nulls = [one for name, mask in _parts(target) for one in _rarer(target, name, mask)]
    wholes = [
        _called_by_less(n, n - 1, gone, share)
        for gone in _unseen(target, n - 1)
        for share in SHARES_MISTAKEN
    ]
    maps = [*(_lessened(n, n - 1, psi) for psi in PSI_WEIGHTS), *wholes]
    weights = [*PSI_WEIGHTS.values(), *[1 / len(wholes)] * len(wholes)]
    return _Ways(
        distortions=Distortions(maps=np.array([*(one for _other, one in nulls), *maps])),
        nulls=tuple(other for other, _one in nulls),
        log_weights=np.log(np.array(weights) / 2),
    )


@lru_cache(maxsize=1024)
def _ways_of_whole(whole: Target, mask: int) -> _Ways:
    """Null: the whole hatches or is called more rarely; mixture: the part as well."""
    n = whole.n_cells
    name = " ".join(factor.text for factor in whole.factors)
    nulls = _rarer(whole, name, n - 1)
    maps = [
        _lessened(n, mask, psi) @ _lessened(n, n - 1, ratio)
        for psi in PSI_WEIGHTS
        for ratio in RATIOS
    ]
    weights = np.outer(list(PSI_WEIGHTS.values()), np.full(len(RATIOS), 1 / len(RATIOS)))
    return _Ways(
        distortions=Distortions(maps=np.array([*(one for _other, one in nulls), *maps])),
        nulls=tuple(other for other, _one in nulls),
        log_weights=np.log(weights).ravel(),
    )


def _rarer(target: Target, name: str, mask: int) -> list[tuple[tuple[str, float], Floats]]:
    """Every way in which a combination may be the one that is short, with its ratio."""
    n = target.n_cells
    lessened = [((name, ratio), _lessened(n, mask, ratio)) for ratio in RATIOS]
    called = [
        ((name, ratio), _called_by_less(n, mask, gone, 1 - ratio))
        for gone in _unseen(target, mask)
        for ratio in RATIOS_CALLED
    ]
    return lessened + called


def _unseen(target: Target, mask: int) -> list[int]:
    """Bits of the genes of a combination that may go unseen together: some of them, or all."""
    single = [bits for _name, bits in target.part_masks if bits & mask == bits]
    return [
        sum(chosen) for size in range(1, len(single) + 1) for chosen in combinations(single, size)
    ]


def _called_by_less(n_cells: int, mask: int, gone: int, share: float) -> Floats:
    """A share of the cells that show all bits of a mask is called as if some were not there."""
    found = np.eye(n_cells)
    for cell in range(n_cells):
        if cell & mask == mask:
            found[cell, cell] -= share
            found[cell & ~gone, cell] += share
    return found


def _lessened(n_cells: int, mask: int, ratio: float) -> Floats:
    """Cells that show all bits of a mask hatch ``ratio`` as often."""
    within = [cell for cell in range(n_cells) if cell & mask == mask]
    found = np.eye(n_cells)
    found[within, within] = ratio
    return found
