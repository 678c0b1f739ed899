"""Stored pool rows as clutches of a configuration of parents, in words."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

from genetics.model.belief import ParentStatement
from genetics.model.species import Sex, Species
from genetics.pool.cells import n_hits
from genetics.pool.pool import PoolRow
from genetics.pool.target import Target, cell_names
from genetics.pool.versions import aligned
from registry.catalogue.bridge import LoadedSpecies
from registry.catalogue.selectors import version_loaded
from registry.pairings.bridge.parents import parent_text
from registry.pools.bridge.rows import row_from_json, target_from_stored


@dataclass(frozen=True, slots=True, order=True)
class Configuration:
    """Parents of a clutch as stated at the loci of a target, under one catalogue version."""

    catalogue: str
    sire: str
    dam: str

    @property
    def text(self) -> str:
        """Sire and dam in one text."""
        return f"{self.sire} x {self.dam}"


@dataclass(frozen=True, slots=True)
class CountedClutch:
    """One clutch of a pool row: where it belongs and what it counts.

    ``cells`` holds (what is shown, hatchlings), in the order of the cells; ``n_died`` is None
    where the eggs were not counted.
    """

    configuration: Configuration
    cells: tuple[tuple[str, int], ...]
    n_hits: int
    n_hits_possible: int
    n_died: int | None
    is_declared: bool


def counted_clutches(
    factors: Sequence[Sequence[str]], rows: Sequence[tuple[int, Mapping[str, Any]]]
) -> list[tuple[CountedClutch, ...]]:
    """The clutches of each pool row of one target, row by row.

    Parameters
    ----------
    rows
        Catalogue version and stored content. Versions may know different forms of a gene; cells
        are then those that all of them can tell, as in the evidence.
    """
    read: list[LoadedSpecies] = []
    pools: list[tuple[Species, Target, Mapping[PoolRow, int]]] = []
    for version_id, content in rows:
        loaded = version_loaded(version_id)
        target = target_from_stored(loaded.species, factors)
        if target is None:
            raise LookupError(f"{loaded.label} has lost a look that it pooled: {factors}")
        read.append(loaded)
        pools.append((loaded.species, target, {row_from_json(loaded.species, content): 1}))
    found = []
    for loaded, (_species, target, only) in zip(read, aligned(pools), strict=True):
        (row,) = only
        found.append(_clutches(loaded, target, row))
    return found


def _clutches(loaded: LoadedSpecies, target: Target, row: PoolRow) -> tuple[CountedClutch, ...]:
    shown = _shown(loaded, target)
    found = []
    for clutch in row.clutches:
        certain, possible = n_hits(target, clutch.cells)
        found.append(
            CountedClutch(
                configuration=Configuration(
                    catalogue=loaded.label,
                    sire=stated_text(loaded, row.sires[clutch.sire]),
                    dam=stated_text(loaded, row.dams[clutch.dam]),
                ),
                cells=tuple(
                    (_cell_text(shown, cell.cells, cell.sex), cell.count) for cell in clutch.cells
                ),
                n_hits=certain,
                n_hits_possible=possible,
                n_died=clutch.n_died,
                is_declared=clutch.declared,
            )
        )
    return tuple(found)


@lru_cache(maxsize=4096)
def _shown(loaded: LoadedSpecies, target: Target) -> tuple[str, ...]:
    """What each cell shows; ``only`` where it is a part of the combination."""
    names = cell_names(loaded.species, target, dict.fromkeys(target.loci, ()))
    return (names[0], *(f"{name} only" for name in names[1:-1]), names[-1])


def _cell_text(shown: Sequence[str], cells: Sequence[int], sex: Sex | None) -> str:
    text = " or ".join(shown[cell] for cell in cells)
    return f"{text} ({sex})" if sex else text


@lru_cache(maxsize=16_384)
def stated_text(loaded: LoadedSpecies, statement: ParentStatement) -> str:
    """What is stated of a parent: its genes in canonical text, then what else is known of them."""
    notes = [f"unproven: {gene}" for gene in statement.unproven]
    for phase in statement.phases:
        kind = "coupling" if phase.coupling else "repulsion"
        notes.append(f"{kind}: {' + '.join(phase.genes)}")
    notes += [f"on {letter}: {gene}" for gene, letter in statement.on_chromosome]
    notes += [f"from its {origin}: {gene}" for gene, origin in statement.inherited_from]
    text = parent_text(loaded, statement)
    return f"{text} [{'; '.join(notes)}]" if notes else text
