"""What a look-alike was called: the name of the cell that the missing hatchlings went to."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import lru_cache
from typing import TYPE_CHECKING

from genetics.cross.offspring import Pairing
from genetics.model.belief import belief_of
from genetics.pool.target import cell_names, possible_looks

if TYPE_CHECKING:
    from genetics.model.species import Species
    from genetics.pool.pool import PoolRow
    from genetics.pool.target import Target

    Pools = Sequence[tuple[Species, Target, Mapping[PoolRow, int]]]


def called_as(pools: Pools, logs_by_cell: Mapping[int, float]) -> str:
    """The likeliest cell in which hatchlings were counted, by what it shows.

    Parameters
    ----------
    logs_by_cell
        Cell that the combination may have been called as -> log-likelihood.

    Notes
    -----
    Parents who do not carry the genes make cells that nobody saw as likely as others, and nothing
    speaks for those. Cells of uncertain calls are compared if there are no certain ones, all cells
    if every hatchling was the combination.
    """
    counted = {
        cell.cells
        for _species, _target, rows in pools
        for row in rows
        for clutch in row.clutches
        for cell in clutch.cells
        if cell.count
    }
    sure = {cells[0] for cells in counted if len(cells) == 1} & logs_by_cell.keys()
    unsure = {cell for cells in counted for cell in cells} & logs_by_cell.keys()
    best = max(sorted(sure or unsure or logs_by_cell), key=logs_by_cell.__getitem__)
    return cell_names(pools[0][0], pools[0][1], looks_given(pools))[best]


def looks_given(pools: Pools) -> dict[str, frozenset[str]]:
    """Looks that some parents of the pool can give, by locus of the target."""
    found: dict[str, frozenset[str]] = {key: frozenset() for key in pools[0][1].loci}
    for species, target, rows in pools:
        for row in rows:
            for key, looks in _looks_of_row(species, target, row).items():
                found[key] |= looks
    return found


@lru_cache(maxsize=65536)
def _looks_of_row(species: Species, target: Target, row: PoolRow) -> Mapping[str, frozenset[str]]:
    found: dict[str, frozenset[str]] = {}
    for pair in row.of_pairs():
        sire, dam = row.sires[pair.sire], row.dams[pair.dam]
        pairing = Pairing(species, belief_of(species, sire), belief_of(species, dam))
        for key, looks in possible_looks(pairing, target).items():
            found[key] = found.get(key, frozenset()) | looks
    return found
