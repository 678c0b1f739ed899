"""What the pool of a target says by itself: its state, its numbers, and whether it is flagged."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from genetics.evidence.ebh import SIZE_WEIGHTS, discoveries
from genetics.evidence.evalue import WATCH_E_VALUE, EValue, e_value, target_viability
from genetics.evidence.hits import PoolHits, pool_hits
from genetics.evidence.likelihood import pool_likelihood
from genetics.evidence.missing import why_missing
from genetics.evidence.robustness import without_top_keeper
from genetics.evidence.verdict import WORK_OF_A_ROW, pool_work, verdict_of
from genetics.model.species import Species
from genetics.pool.pool import PoolRow
from genetics.pool.target import Target
from genetics.pool.versions import aligned
from registry.pools.bridge.explaining import CallChanges, explanation_to_json, miscalled_cells
from registry.pools.bridge.rows import Pools, WeightedRow, pools_of
from registry.pools.choices import State
from registry.pools.work import Remembered

WATCH_LEVEL = float(WATCH_E_VALUE)
"""E-value from which a combination is on watch."""

WORK_NEAR_A_FLAG = 4
"""Times the work of a target near a flag: explanations, and the pool without its top keepers."""

WORK_OF_A_KNOWN_ROW = WORK_OF_A_ROW
"""Work of adding up one pool row whose sums are known, in terms."""

_SUMS = Remembered()


@dataclass(frozen=True, slots=True)
class Assessment:
    """What the pool of one target says by itself, ready to be stored.

    ``reason`` is the likeliest explanation, with the number ``of`` those that can apply; made
    only where the evidence is near a flag. ``work`` is what all of it took, counted.
    """

    state: str
    n_hatchlings: int
    n_hits: int
    n_hits_possible: int
    expected: float
    p_value: float
    log10_p_value: float
    chance_of_none: float
    n_cut_families: int
    log10_e_value: float
    more_hatchlings: int | None
    reason: dict[str, Any] | None
    work: int


NOTHING_REPORTED = Assessment(
    state=str(State.NO_REPORTS),
    n_hatchlings=0,
    n_hits=0,
    n_hits_possible=0,
    expected=0.0,
    p_value=1.0,
    log10_p_value=0.0,
    chance_of_none=1.0,
    n_cut_families=0,
    log10_e_value=0.0,
    more_hatchlings=None,
    reason=None,
    work=1,
)


def assessed(
    factors: Sequence[Sequence[str]], rows: Iterable[WeightedRow], changes: CallChanges = ()
) -> Assessment:
    """State and numbers of one target from its pool rows."""
    pools = pools_of(factors, rows)
    if not pools:
        return NOTHING_REPORTED
    verdict = verdict_of(pools)
    pool = verdict.hits
    near_a_flag = verdict.evidence.value >= WATCH_E_VALUE
    return Assessment(
        state=str(verdict.state),
        n_hatchlings=pool.n_hatchlings,
        n_hits=pool.n_hits,
        n_hits_possible=pool.n_hits_possible,
        expected=float(pool.expected),
        p_value=pool.tail.probability,
        log10_p_value=max(pool.tail.log10_probability, -1e300),
        chance_of_none=pool.tail.chance_of_none,
        n_cut_families=verdict.n_cut,
        log10_e_value=max(verdict.evidence.log10, -1e300),
        more_hatchlings=verdict.more_hatchlings,
        reason=_reason(pools, pool, verdict.evidence, changes) if near_a_flag else None,
        work=pool_work(pools, _SUMS.is_new) * (WORK_NEAR_A_FLAG if near_a_flag else 1),
    )


def _reason(pools: Pools, hits: PoolHits, evidence: EValue, changes: CallChanges) -> dict[str, Any]:
    found = why_missing(pools, hits, evidence, miscalled=miscalled_cells(pools, changes))
    return explanation_to_json(found[0]) | {"of": len(found)}


def log10_without_top(by_keeper: Mapping[Any, Pools]) -> float | None:
    """Evidence that is left without the keeper who moves it most; None for a single keeper."""
    found = without_top_keeper(_aligned_by_keeper(by_keeper))
    return None if found is None else max(found.log10, -1e300)


def _aligned_by_keeper(by_keeper: Mapping[Any, Pools]) -> Mapping[Any, Pools]:
    """Keepers may have reported under different versions; their parts are summed all the same."""
    every = aligned([pool for own in by_keeper.values() for pool in own])
    found: dict[Any, Pools] = {}
    for keeper, own in by_keeper.items():
        found[keeper], every = every[: len(own)], every[len(own) :]
    return found


def flagged(
    candidates: Mapping[int, tuple[float, int]], n_targets: Mapping[int, int]
) -> frozenset[int]:
    """Targets of one species that survive weighted e-BH.

    Parameters
    ----------
    candidates
        Row of each target on watch -> logarithm of its e-value, number of factors.
    n_targets
        Number of factors -> number of all targets that were looked at.
    """
    others = Counter({SIZE_WEIGHTS[size]: 0 for size in n_targets})
    for size, n in n_targets.items():
        others[SIZE_WEIGHTS[size]] += n
    for _log10_e, size in candidates.values():
        others[SIZE_WEIGHTS[size]] -= 1
    return discoveries(
        {key: log10_e for key, (log10_e, _size) in candidates.items()},
        {key: SIZE_WEIGHTS[size] for key, (_log10_e, size) in candidates.items()},
        others=others,
    )


@dataclass(frozen=True, slots=True)
class PoolNumbers:
    """Plain numbers of a pool and its evidence, for one point of a history."""

    n_hatchlings: int
    n_hits: int
    expected: float
    log10_e_value: float


def row_work(species: Species, target: Target, row: PoolRow) -> int:
    """Work of the sums of one pool row that were never made, in terms, as ``pool_work`` counts."""
    return pool_work([(species, target, Counter({row: 1}))], lambda _row: True)


def pool_numbers(pools: Pools) -> PoolNumbers:
    """Counts, expectation and evidence of a pool."""
    pools = aligned(pools)
    hits = pool_hits(pools)
    evidence = e_value(pool_likelihood(pools, target_viability(pools[0][1])))
    return PoolNumbers(
        n_hatchlings=hits.n_hatchlings,
        n_hits=hits.n_hits,
        expected=float(hits.expected),
        log10_e_value=evidence.log10,
    )
