"""A pool row as it would be if the combination had hatched hardly ever, or not at all."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import replace
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np

from genetics.evidence.latent import animal_states, cell_tables
from genetics.pool.cells import CellCount

if TYPE_CHECKING:
    from genetics.model.belief import ParentStatement
    from genetics.model.species import Sex, Species
    from genetics.pool.pool import ClutchCounts, PoolRow
    from genetics.pool.target import Target


@lru_cache(maxsize=16384)
def with_few_hits(species: Species, target: Target, row: PoolRow, *, n_hits: int) -> PoolRow:
    """The row with at most ``n_hits`` in its first clutch and none in the others.

    All other hatchlings are spread over the other cells as they are expected there. Numbers are
    rounded so that the largest remainders are served first and none is lost. Hits are given to a
    sex that can show them, if the sexes are known.
    """
    clutches = [
        _spread(species, target, row, clutch, n_hits=0 if place else n_hits)
        for place, clutch in enumerate(row.clutches)
    ]
    return replace(row, clutches=tuple(clutches))


def _spread(
    species: Species, target: Target, row: PoolRow, clutch: ClutchCounts, *, n_hits: int
) -> ClutchCounts:
    by_sex: Counter[Sex | None] = Counter()
    for cell in clutch.cells:
        by_sex[cell.sex] += cell.count
    found, left = [], n_hits
    for sex, n in by_sex.items():
        chances = _chances(species, target, row.sires[clutch.sire], row.dams[clutch.dam], sex)
        shares = _other_cells(chances)
        hits = min(left, n) if chances[-1] else 0
        left -= hits
        wanted = np.array(shares) * (n - hits)
        counts = np.floor(wanted).astype(int)
        for place in np.argsort(counts - wanted, kind="stable")[: n - hits - int(counts.sum())]:
            counts[place] += 1
        counts[-1] += hits
        found += [
            CellCount(sex=sex, cells=(cell,), count=int(count))
            for cell, count in enumerate(counts)
            if count
        ]
    return replace(clutch, cells=tuple(found))


@lru_cache(maxsize=16384)
def _chances(
    species: Species,
    target: Target,
    sire: ParentStatement,
    dam: ParentStatement,
    sex: Sex | None,
) -> tuple[float, ...]:
    """Chance of every cell for the parents as stated."""
    sires, dams = (
        [state for state in animal_states(species, target, one).states if not state.n_missing]
        for one in (sire, dam)
    )
    tables = cell_tables(
        species, target, [one.haplotypes for one in sires], [one.haplotypes for one in dams], sex
    )
    total = np.einsum(
        "i,j,ijc->c", [one.weight for one in sires], [one.weight for one in dams], tables
    )
    return tuple(float(one) for one in total)


def _other_cells(chances: Sequence[float]) -> tuple[float, ...]:
    """Chance of every cell given that it is not the hit cell."""
    others = np.array([*chances[:-1], 0.0])
    whole = others.sum()
    if not whole:
        others[0] = whole = 1.0
    return tuple(float(one) for one in others / whole)
