"""Is the shortage specific to the combination? Evidence given the margins of every clutch.

For two parts of a combination whose genes segregate independently in a clutch, the number of
hatchlings with both, given how many show each, is hypergeometric whatever the chances of the single
parts are. If those with both hatch ``psi`` times as often it is Fisher's noncentral hypergeometric
law with odds ratio ``psi``. So this evidence is blind to a gene that falls short by itself and to
parents that do not carry what they should; it costs about twice the hatchlings.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np
from scipy.special import gammaln, logsumexp

from genetics.evidence.elimination import MOST_PAIR_STATES
from genetics.evidence.evalue import PSI_WEIGHTS
from genetics.evidence.family import pair_laws
from genetics.evidence.latent import animal_states
from genetics.exact import ROUNDING_OF_CHANCES

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from genetics.model.belief import ParentStatement
    from genetics.model.species import Species
    from genetics.pool.cells import CellCount
    from genetics.pool.pool import PoolRow
    from genetics.pool.target import Target

    Floats = NDArray[np.float64]

Table = tuple[int, int, int, int]
"""Hatchlings, those with the first part, those with the second, those with both."""

_BOTH, _NEITHER = (True, True), (False, False)


@dataclass(frozen=True, slots=True)
class SpecificEvidence:
    """E-value of the combination given its margins; for three genes the least over the splits.

    ``n_tables`` clutches had something to say: both parts shown by some and not by all.
    """

    log10: float
    n_tables: int


def specific_evidence(
    pools: Sequence[tuple[Species, Target, Mapping[PoolRow, int]]],
) -> SpecificEvidence | None:
    """The conditional e-value of a pool; ``None`` for a target without two independent parts."""
    splits = _splits(pools[0][1])
    if not splits:
        return None
    found = []
    for part, rest in splits:
        tables: Counter[Table] = Counter()
        for species, target, rows in pools:
            for row, times in rows.items():
                for table in _tables(species, target, row, part, rest):
                    tables[table] += times
        found.append(_evidence(tables))
    return min(found, key=lambda one: one.log10)


def _splits(target: Target) -> list[tuple[int, int]]:
    """Pairs of bit masks that make up the hit cell: every part against the rest."""
    whole = target.n_cells - 1
    if len(target.factors) == 1:
        factor = target.factors[0]
        return [(1, 2)] if factor.alleles else []
    masks = [
        ((1 << factor.n_bits) - 1) << shift
        for factor, shift in zip(target.factors, target.shifts, strict=True)
    ]
    if len(masks) == 2:  # noqa: PLR2004 - two parts make one split
        return [(masks[0], masks[1])]
    return [(mask, whole - mask) for mask in masks]


def _tables(
    species: Species, target: Target, row: PoolRow, part: int, rest: int
) -> Iterator[Table]:
    for clutch in row.clutches:
        sire, dam = row.sires[clutch.sire], row.dams[clutch.dam]
        if _independent(species, target, sire, dam, part, rest):
            table = _table(clutch.cells, part, rest)
            n, with_part, with_rest, _both = table
            if 0 < with_part < n and 0 < with_rest < n:
                yield table


def _table(cells: Sequence[CellCount], part: int, rest: int) -> Table:
    """Counts of one clutch, uncertain calls where they make the combination least short.

    That is with both parts or with neither, if the call allows it; one that allows both of these
    goes where there are fewer. Others are left out: in either place they would make it shorter.
    """
    kinds: Counter[tuple[bool, bool]] = Counter()
    n_open = 0
    for cell in cells:
        found = {(one & part == part, one & rest == rest) for one in cell.cells}
        kept = found if len(found) == 1 else found & {_BOTH, _NEITHER}
        if len(kept) == 1:
            kinds[next(iter(kept))] += cell.count
        elif kept:
            n_open += cell.count
    n_both = (kinds[_NEITHER] - kinds[_BOTH] + n_open + 1) // 2
    kinds[_BOTH] += min(max(n_both, 0), n_open)
    kinds[_NEITHER] += n_open - min(max(n_both, 0), n_open)
    both = kinds[_BOTH]
    return kinds.total(), both + kinds[True, False], both + kinds[False, True], both


@lru_cache(maxsize=16384)
def _independent(
    species: Species,
    target: Target,
    sire: ParentStatement,
    dam: ParentStatement,
    part: int,
    rest: int,
) -> bool:
    """Whether the two parts are independent in every state that the parents may be in.

    Not known, and so not used, of parents of more than ``MOST_PAIR_STATES`` states.
    """
    n_pairs = len(animal_states(species, target, sire).states) * len(
        animal_states(species, target, dam).states
    )
    if n_pairs > MOST_PAIR_STATES:
        return False
    numbers = np.arange(target.n_cells)
    has_part, has_rest = (numbers & part) == part, (numbers & rest) == rest
    [laws] = pair_laws(species, target, sire, dam, (None,)).laws
    apart = laws[:, has_part].sum(axis=1) * laws[:, has_rest].sum(axis=1)
    both = laws[:, has_part & has_rest].sum(axis=1)
    return bool((np.abs(both - apart) <= ROUNDING_OF_CHANCES).all())


def _evidence(tables: Mapping[Table, int]) -> SpecificEvidence:
    logs = np.zeros(len(PSI_WEIGHTS))
    for table, times in tables.items():
        laws = log_chances(table, (*PSI_WEIGHTS, 1.0))
        logs += times * (laws[:-1] - laws[-1])
    mixture = logsumexp(logs + np.log(list(PSI_WEIGHTS.values())))
    return SpecificEvidence(log10=float(mixture / np.log(10)), n_tables=sum(tables.values()))


@lru_cache(maxsize=65536)
def log_chances(table: Table, odds_ratios: tuple[float, ...]) -> Floats:
    """Log-chance of the number with both, given the margins, for each odds ratio from 0 on.

    At odds ratio 0 all of the chance is on the least number that the margins allow.
    """
    n, with_part, with_rest, both = table
    least, most = max(0, with_part + with_rest - n), min(with_part, with_rest)
    numbers = np.arange(least, most + 1)
    ways = (
        gammaln(with_part + 1)
        - gammaln(numbers + 1)
        - gammaln(with_part - numbers + 1)
        + gammaln(n - with_part + 1)
        - gammaln(with_rest - numbers + 1)
        - gammaln(n - with_part - with_rest + numbers + 1)
    )
    found = []
    for ratio in odds_ratios:
        if ratio == 0:
            found.append(0.0 if both == least else -np.inf)
        else:
            logs = ways + numbers * np.log(ratio)
            found.append(float(logs[both - least] - logsumexp(logs)))
    return np.array(found)
