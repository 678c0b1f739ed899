"""Why is a combination missing? Six explanations compared by their marginal likelihood.

All are judged on the same full cell tables, with the same treatment of what parents may really
carry. Each has its own ways for hatchlings to depart from Mendel and its own weights over nuisance
rates; both are integrated out. Priors and grids stand here and nowhere else.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from fractions import Fraction
from functools import lru_cache
from typing import TYPE_CHECKING, Final

import numpy as np
from scipy.optimize import minimize_scalar
from scipy.special import logsumexp

from genetics.evidence.called_as import called_as
from genetics.evidence.egg_losses import log_egg_chances
from genetics.evidence.evalue import PSI_WEIGHTS, RATE_WEIGHTS, psi_distortions
from genetics.evidence.likelihood import Distortions, pool_likelihood
from genetics.evidence.repulsion import FRACTIONS, in_repulsion

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from genetics.model.species import Species
    from genetics.pool.pool import PoolRow
    from genetics.pool.target import Target

    Floats = NDArray[np.float64]
    Pools = Sequence[tuple[Species, Target, Mapping[PoolRow, int]]]


class Explanation(StrEnum):
    """The six things that a shortage can be."""

    AS_CATALOGUED = "as-catalogued"
    PARENT_NOT_CARRYING = "parent-not-carrying"
    LOOK_ALIKE = "look-alike"
    LINKED_IN_REPULSION = "linked-in-repulsion"
    REDUCED_VIABILITY = "reduced-viability"
    GENE_SHORTAGE = "gene-shortage"


PRIORS: Final[Mapping[Explanation, float]] = {
    Explanation.AS_CATALOGUED: 0.50,
    Explanation.PARENT_NOT_CARRYING: 0.14,
    Explanation.LOOK_ALIKE: 0.10,
    Explanation.LINKED_IN_REPULSION: 0.06,
    Explanation.REDUCED_VIABILITY: 0.10,
    Explanation.GENE_SHORTAGE: 0.10,
}
"""Working values of this project, no source; explanations that can not apply drop out."""

FEW_MISLABELLED: Final = {0.0: 0.3, 0.01: 0.25, 0.03: 0.2, 0.06: 0.15, 0.1: 0.1}
MANY_MISLABELLED: Final = {0.15: 0.2, 0.25: 0.2, 0.4: 0.2, 0.6: 0.15, 0.8: 0.1, 0.99: 0.15}
SHARES_MISTAKEN: Final = (0.5, 0.7, 0.9, 1.0)
FINEST_FRACTION: Final = 1_000
"""Steps in which the best recombination fraction is looked for, per whole."""

CALLED_NORMAL: Final = 0.1
"""Weight of a combination being called by none of its genes, against being called by some."""

SEEN_WEIGHT: Final = 5
"""Hatchlings known to have been miscalled that weigh as much as what is assumed without any."""

MOST_LOOK_ALIKE: Final = 0.40
"""What the prior of a look-alike gains at most from known miscalls; a working value, no source."""

SHARES_UNSEEN: Final = (0.3, 0.5, 0.7, 0.9)
SHARES_LEFT: Final = (0.1, 0.3, 0.5, 0.7)


@dataclass(frozen=True, slots=True)
class ExplanationResult:
    """One explanation with its probability among those that can apply.

    ``called_as`` names the cell that a look-alike went to, among those in which hatchlings were
    counted; ``gene`` is the gene that falls short, ``recombination_fraction`` the best one under
    linkage.
    """

    name: Explanation
    probability: float
    called_as: str | None = None
    gene: str | None = None
    recombination_fraction: float | None = None


def look_alike_prior(n_miscalled: int) -> float:
    """Prior of a look-alike once ``n_miscalled`` hatchlings are known to have been miscalled."""
    return PRIORS[Explanation.LOOK_ALIKE] + MOST_LOOK_ALIKE * n_miscalled / (
        n_miscalled + SEEN_WEIGHT
    )


def explanations(
    pools: Pools, *, miscalled: Mapping[int, int] | None = None
) -> tuple[ExplanationResult, ...]:
    """The explanations of a pool, most probable first; their probabilities sum to 1.

    Parameters
    ----------
    miscalled
        Cell -> hatchlings that were called so at first and were the combination at a later look,
        in any clutches. They shift the prior of a look-alike and of its cell.
    """
    target = pools[0][1]
    known = miscalled or {}
    ways = _ways(target)
    likelihood = pool_likelihood(pools, ways.distortions)
    few, many = (
        _log_over(likelihood.log_at, rates) for rates in (FEW_MISLABELLED, MANY_MISLABELLED)
    )
    every = _log_over(likelihood.log_at, RATE_WEIGHTS)
    found: dict[Explanation, tuple[float, ExplanationResult]] = {}

    def add(name: Explanation, logs: Floats, **details: object) -> None:
        found[name] = (float(logsumexp(logs)), ExplanationResult(name, 0.0, **details))  # type: ignore[arg-type]

    mendel = ways.mendel
    add(Explanation.AS_CATALOGUED, few[mendel : mendel + 1])
    add(Explanation.PARENT_NOT_CARRYING, many[mendel : mendel + 1])
    eggs = log_egg_chances(pools, tuple(PSI_WEIGHTS))
    add(
        Explanation.REDUCED_VIABILITY,
        every[ways.viability] + np.log(list(PSI_WEIGHTS.values())) + eggs,
    )
    if ways.mistaken:
        logs = np.array([every[one.ways] for one in ways.mistaken])
        assumed = np.array([CALLED_NORMAL, *[1.0] * (len(logs) - 1)])
        seen = np.array([known.get(cell, 0) for cell in target.possible_cells[:-1]])
        weights = SEEN_WEIGHT * assumed / assumed.sum() + seen
        logs += np.log(weights / weights.sum() / len(SHARES_MISTAKEN))[:, None]
        logs_by_cell = {
            one.cell: float(log)
            for one, log in zip(ways.mistaken, logsumexp(logs, axis=1), strict=True)
        }
        add(Explanation.LOOK_ALIKE, logs, called_as=called_as(pools, logs_by_cell))
    if ways.short:
        logs = np.array([every[one.ways] for one in ways.short])
        best = int(np.argmax(logsumexp(logs, axis=1)))
        add(Explanation.GENE_SHORTAGE, logs - np.log(logs.size), gene=ways.short[best].name)
    linked = _linked(pools)
    if linked is not None:
        place = int(np.argmax(linked))
        add(
            Explanation.LINKED_IN_REPULSION,
            linked - np.log(len(FRACTIONS)),
            recombination_fraction=_best_fraction(pools, place),
        )
    priors = {**PRIORS, Explanation.LOOK_ALIKE: look_alike_prior(sum(known.values()))}
    return _normalised(found, priors)


def _best_fraction(pools: Pools, place: int) -> float:
    """Recombination fraction that fits best, looked for around the best of ``FRACTIONS``."""
    low = float(FRACTIONS[max(place - 1, 0)])
    high = float(FRACTIONS[min(place + 1, len(FRACTIONS) - 1)])

    def loss(fraction: float) -> float:
        exact = Fraction(fraction).limit_denominator(FINEST_FRACTION)
        return -float(_log_linked(pools, exact) or 0.0)

    found = minimize_scalar(
        loss, bounds=(low, high), method="bounded", options={"xatol": 1 / FINEST_FRACTION}
    )
    return float(found.x)


def _normalised(
    found: Mapping[Explanation, tuple[float, ExplanationResult]],
    priors: Mapping[Explanation, float],
) -> tuple[ExplanationResult, ...]:
    names = list(found)
    logs = np.array([found[name][0] for name in names])
    if not np.isfinite(logs).any():
        # Nothing that the parents could be gives such hatchlings: they speak for none of the six.
        logs[:] = 0.0
    logs += np.log([priors[name] for name in names])
    chances = np.exp(logs - logsumexp(logs))
    results = [
        ExplanationResult(
            name=name,
            probability=float(chance),
            called_as=found[name][1].called_as,
            gene=found[name][1].gene,
            recombination_fraction=found[name][1].recombination_fraction,
        )
        for name, chance in zip(names, chances, strict=True)
    ]
    return tuple(sorted(results, key=lambda one: -one.probability))


def _log_over(log_at: object, weights: Mapping[float, float]) -> Floats:
    logs: Floats = log_at(np.array(list(weights)))  # type: ignore[operator]
    return np.asarray(logsumexp(logs + np.log(list(weights.values())), axis=1))


@dataclass(frozen=True, eq=False)
class _Mistaken:
    """Ways of being called as another cell."""

    cell: int
    ways: slice


@dataclass(frozen=True, eq=False)
class _Short:
    """Ways of a gene that falls short."""

    name: str
    ways: slice


@dataclass(frozen=True, eq=False)
class _Ways:
    distortions: Distortions
    mendel: int
    viability: slice
    mistaken: tuple[_Mistaken, ...]
    short: tuple[_Short, ...]


@lru_cache(maxsize=4096)
def _ways(target: Target) -> _Ways:
    """All ways of all explanations of one target, stacked, so that rows are walked once."""
    n = target.n_cells
    maps: list[Floats] = [*psi_distortions((*PSI_WEIGHTS, 1.0), n).maps]
    viability = slice(0, len(PSI_WEIGHTS))
    mistaken = []
    for cell in target.possible_cells[:-1]:
        start = len(maps)
        maps += [_moved(n, {n - 1: cell}, share) for share in SHARES_MISTAKEN]
        mistaken.append(_Mistaken(cell, slice(start, len(maps))))
    short = []
    if target.n_factors > 1:
        for name, mask in target.part_masks:
            start = len(maps)
            with_part = [cell for cell in range(n) if cell & mask == mask]
            unseen = {cell: cell & ~mask for cell in with_part}
            maps += [_moved(n, unseen, share) for share in SHARES_UNSEEN]
            maps += [_lessened(n, with_part, share) for share in SHARES_LEFT]
            short.append(_Short(name, slice(start, len(maps))))
    return _Ways(
        distortions=Distortions(maps=np.array(maps)),
        mendel=len(PSI_WEIGHTS),
        viability=viability,
        mistaken=tuple(mistaken),
        short=tuple(short),
    )


def _moved(n: int, places: Mapping[int, int], share: float) -> Floats:
    """A share of some cells is called as another cell."""
    found = np.eye(n)
    for cell, other in places.items():
        found[cell, cell] -= share
        found[other, cell] += share
    return found


def _lessened(n: int, cells: Sequence[int], share: float) -> Floats:
    """Only a share of some cells hatches."""
    found = np.eye(n)
    found[list(cells), list(cells)] = share
    return found


def _linked(pools: Pools) -> Floats | None:
    """Log-likelihood by recombination fraction, the nuisance rate integrated out."""
    logs = [_log_linked(pools, fraction) for fraction in FRACTIONS]
    return None if logs[0] is None else np.array(logs, dtype=float)


def _log_linked(pools: Pools, fraction: Fraction) -> float | None:
    changed = in_repulsion(pools, fraction)
    if changed is None:
        return None
    likelihood = pool_likelihood(changed, _mendel(pools[0][1].n_cells))
    return float(_log_over(likelihood.log_at, RATE_WEIGHTS)[0])


@lru_cache(maxsize=64)
def _mendel(n_cells: int) -> Distortions:
    return psi_distortions((1.0,), n_cells)
