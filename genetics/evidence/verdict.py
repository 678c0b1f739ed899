"""The state of a target from its pool, and everything that is said with it."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from fractions import Fraction
from math import ceil, inf, log10
from typing import TYPE_CHECKING, Final

from genetics.cross.offspring import Pairing, chance_law, mean_chance
from genetics.evidence.evalue import WATCH_E_VALUE, EValue, e_value, target_viability
from genetics.evidence.few_hits import with_few_hits
from genetics.evidence.hits import PoolHits, cut_hits, hits_apart, pool_hits, row_products
from genetics.evidence.likelihood import cut_rows, pool_likelihood, row_terms
from genetics.model.belief import belief_of

if TYPE_CHECKING:
    from collections.abc import Callable, Hashable

    from genetics.model.species import Species
    from genetics.pool.pool import PoolRow
    from genetics.pool.target import Target

    Pools = Sequence[tuple[Species, Target, Mapping[PoolRow, int]]]

FEWEST_KEEPERS: Final = 3
"""Independent keepers that a flag needs."""

LARGEST_DOUBTFUL_POOL: Final = 2_000
"""Hatchlings from which on a pool is taken to be able to signal, without trying."""


class State(StrEnum):
    """What can be said of a target."""

    NO_REPORTS = "no-reports"
    TOO_EARLY = "too-early"
    AS_EXPECTED = "as-expected"
    WATCH = "watch"
    FLAGGED = "flagged"


@dataclass(frozen=True, slots=True)
class Verdict:
    """State of one target by itself; whether it is flagged depends on all others too.

    ``more_hatchlings`` is about how many further ones without the combination would be enough to
    put it on watch; None unless it is too early. ``n_cut`` families were too much to sum over, for
    the tail or for the evidence, and were taken apart.
    """

    state: State
    hits: PoolHits
    evidence: EValue
    more_hatchlings: int | None
    n_cut: int


def verdict_of(pools: Pools) -> Verdict:
    """State of a pool with hatchlings, and the evidence behind it."""
    hits = pool_hits(pools)
    evidence = e_value(pool_likelihood(pools, target_viability(pools[0][1])))
    more = None
    if evidence.log10 >= log10(WATCH_E_VALUE):
        state = State.WATCH
    else:
        more = hatchlings_until_signal(pools, hits)
        state = State.AS_EXPECTED if more is None else State.TOO_EARLY
    n_cut = sum(pools[number][2][row] for number, row in cut_hits(pools) | cut_rows(pools))
    return Verdict(state=state, hits=hits, evidence=evidence, more_hatchlings=more, n_cut=n_cut)


WORK_OF_A_ROW: Final = 500
"""Work of a row whose sums are known, in terms: to find them and to add them up."""

WORK_OF_A_PAIR: Final = 5_000
"""Work of one pair beside its sums, in terms: its laws, its calls, its part of the graph."""

PRODUCTS_OF_A_TERM: Final = 100
"""Products of words of a law of hits that take about as long as one term of a likelihood."""


def pool_work(pools: Pools, is_new: Callable[[Hashable], bool]) -> int:
    """Work of a verdict, in terms of a likelihood: counted, never timed.

    Parameters
    ----------
    is_new
        Of a species, target and row, whether its sums are still to be made.

    Notes
    -----
    Families that are too much are counted as the pairs that they are cut into.
    """
    apart, hits_too_large = cut_rows(pools), hits_apart(pools)
    total = 0
    for number, (species, target, rows) in enumerate(pools):
        for row in rows:
            total += WORK_OF_A_ROW
            if not is_new((species, target, row)):
                continue
            total += len(row.clutches) * WORK_OF_A_PAIR
            if (number, row) not in apart:
                total += row_terms(species, target, row)
            if (number, row) not in hits_too_large:
                total += row_products(species, target, row) // PRODUCTS_OF_A_TERM
    return total


def hatchlings_until_signal(pools: Pools, hits: PoolHits) -> int | None:
    """About how many more hatchlings a signal takes at least; None if the pool could give one.

    Asked of the same clutches as if the combination had not hatched at all, and as if one had
    hatched in every family, which proves the parents: evidence below the level of a watch in both
    means that nothing they are likely to show would have been a signal.
    """
    if hits.n_hatchlings > LARGEST_DOUBTFUL_POOL:
        return None
    level, reached = log10(WATCH_E_VALUE), -inf
    for n_hits in (0, 1):
        reached = max(reached, _evidence_with(pools, n_hits))
        if reached >= level:
            return None
    missing = level - reached
    mean = float(hits.expected / Fraction(hits.n_hatchlings)) or _mean_of_both_sexes(pools)
    return max(1, ceil(missing / -log10(1 - min(mean, 0.99))))


def _mean_of_both_sexes(pools: Pools) -> float:
    """Mean chance of the combination if every hatchling could be of either sex.

    What hatched may be all of the sex that can not show it.
    """
    total, n_hatchlings = Fraction(0), 0
    for species, target, rows in pools:
        for row, times in rows.items():
            for clutch in row.clutches:
                sire, dam = row.sires[clutch.sire], row.dams[clutch.dam]
                pairing = Pairing(species, belief_of(species, sire), belief_of(species, dam))
                n = times * sum(cell.count for cell in clutch.cells)
                total += n * mean_chance(chance_law(pairing, target.wanted))
                n_hatchlings += n
    return float(total / n_hatchlings)


def _evidence_with(pools: Pools, n_hits: int) -> float:
    """Logarithm of the e-value if every family had so many hits."""
    changed = []
    for species, target, rows in pools:
        few: Counter[PoolRow] = Counter()
        for row, times in rows.items():
            few[with_few_hits(species, target, row, n_hits=n_hits)] += times
        changed.append((species, target, few))
    return e_value(pool_likelihood(changed, target_viability(pools[0][1]))).log10
