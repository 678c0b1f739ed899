"""The same target under several catalogue versions, brought to the same cells.

A version may know further looks of a gene, so that its factor takes two bits where that of another
version takes one. Sums over a whole pool need one numbering of cells. Where versions disagree, the
factor is reduced to what all of them can tell: shown or not.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from genetics.pool.cells import CellCount
from genetics.pool.pool import PoolRow
from genetics.pool.target import Factor, Target

if TYPE_CHECKING:
    from genetics.model.species import Sex, Species

VersionPool = tuple["Species", Target, Mapping[PoolRow, int]]
"""A species as one catalogue version has it, the target there, and pool row -> families."""


def aligned(pools: Sequence[VersionPool]) -> list[VersionPool]:
    """The pools in their order, with the same cells in all of them.

    Parameters
    ----------
    pools
        One target: the same loci and wordings of its factors in every pool. Pools that agree are
        handed back as they are.
    """
    shapes = {tuple((one.n_bits, one.alleles) for one in pool[1].factors) for pool in pools}
    if len(shapes) <= 1:
        return list(pools)
    differing = {place for place, ways in enumerate(zip(*shapes, strict=True)) if len({*ways}) > 1}
    return [_reduced(pool, differing) for pool in pools]


def _reduced(pool: VersionPool, places: set[int]) -> VersionPool:
    species, target, rows = pool
    coarse = Target(
        factors=tuple(
            _shown_or_not(factor) if place in places else factor
            for place, factor in enumerate(target.factors)
        )
    )
    cells = _cells_of(target, coarse)
    found: Counter[PoolRow] = Counter()
    for row, times in rows.items():
        clutches = tuple(
            replace(clutch, cells=_renumbered(clutch.cells, cells)) for clutch in row.clutches
        )
        found[replace(row, clutches=clutches)] += times
    return species, coarse, found


def _shown_or_not(factor: Factor) -> Factor:
    return replace(factor, alleles=(), has_other_forms=False)


def _cells_of(fine: Target, coarse: Target) -> tuple[int, ...]:
    """Cell of the coarse target by cell of the fine one; only all bits of a factor show it."""
    found = []
    for cell in range(fine.n_cells):
        number = 0
        for one, shift, other, place in zip(
            fine.factors, fine.shifts, coarse.factors, coarse.shifts, strict=True
        ):
            whole = (1 << one.n_bits) - 1
            bits = cell >> shift & whole
            number |= (bits if other == one else int(bits == whole)) << place
        found.append(number)
    return tuple(found)


def _renumbered(counts: Sequence[CellCount], numbers: Sequence[int]) -> tuple[CellCount, ...]:
    found: Counter[tuple[Sex | None, tuple[int, ...]]] = Counter()
    for one in counts:
        found[one.sex, tuple(sorted({numbers[cell] for cell in one.cells}))] += one.count
    ordered = sorted(found.items(), key=lambda item: (item[0][0] or "", item[0][1]))
    return tuple(CellCount(sex=sex, cells=cells, count=count) for (sex, cells), count in ordered)
