"""What the parents of a pool row may really carry, and the cells that their hatchlings fall into.

Beside possible hets and unknown phase, which have their chances, every stated gene of a parent may
be wrong: the animal is not what its label says. That has one unknown chance ``c`` per gene, the
same for all parents of the pool. States are sorted by how many stated genes are missing in them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import lru_cache
from itertools import combinations, product
from math import prod
from typing import TYPE_CHECKING

import numpy as np

from genetics.cross.offspring import group_offspring
from genetics.model.belief import HaplotypePair, ParentStatement, belief_of
from genetics.model.statement import StatedGenes, StatedLocus
from genetics.pool.target import look_bits

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from genetics.model.linkage import LinkageGroup
    from genetics.model.species import Sex, Species
    from genetics.pool.target import Factor, Target


@dataclass(frozen=True, slots=True)
class AnimalState:
    """One thing that a parent may really be.

    ``n_missing`` stated genes are not there; ``weight`` is the chance of the state given that;
    ``haplotypes`` are by linkage group of the target.
    """

    n_missing: int
    weight: float
    haplotypes: tuple[HaplotypePair, ...]


@dataclass(frozen=True, slots=True)
class AnimalStates:
    """Every state of a parent; ``n_doubtful`` stated genes may each be missing."""

    n_doubtful: int
    states: tuple[AnimalState, ...]


def target_groups(species: Species, target: Target) -> tuple[LinkageGroup, ...]:
    """Linkage groups of a target's loci, in the order of the species."""
    return tuple(g for g in species.groups if any(key in target.loci for key in g.loci))


@lru_cache(maxsize=16384)
def animal_states(species: Species, target: Target, statement: ParentStatement) -> AnimalStates:
    """States of one parent at the loci of a target."""
    groups = target_groups(species, target)
    doubtful = [
        (key, gene)
        for key, stated in statement.genes.loci
        if key in target.loci
        for gene in dict.fromkeys(stated.certain)
    ]
    found: dict[tuple[int, tuple[HaplotypePair, ...]], Fraction] = {}
    for n_missing in range(len(doubtful) + 1):
        for missing in combinations(doubtful, n_missing):
            belief = belief_of(species, _without(statement, missing))
            for chosen in product(*(belief.states(species, group) for group in groups)):
                key = (n_missing, tuple(pair for pair, _chance in chosen))
                weight = prod((chance for _pair, chance in chosen), start=Fraction(1))
                found[key] = found.get(key, Fraction(0)) + weight
    return AnimalStates(
        n_doubtful=len(doubtful),
        states=tuple(
            AnimalState(n_missing=n, weight=float(weight), haplotypes=haplotypes)
            for (n, haplotypes), weight in found.items()
        ),
    )


def _without(statement: ParentStatement, missing: Sequence[tuple[str, str]]) -> ParentStatement:
    """The statement with these genes not there, and nothing said of where they lie."""
    gone = {gene for _key, gene in missing}
    if not gone:
        return statement
    return replace(
        statement,
        genes=StatedGenes(
            loci=tuple(
                (
                    key,
                    StatedLocus(
                        certain=tuple(gene for gene in stated.certain if gene not in gone),
                        possible=stated.possible,
                    ),
                )
                for key, stated in statement.genes.loci
            )
        ),
        unproven=tuple(gene for gene in statement.unproven if gene not in gone),
        phases=tuple(one for one in statement.phases if not gone & set(one.genes)),
        on_chromosome=tuple(one for one in statement.on_chromosome if one[0] not in gone),
        inherited_from=tuple(one for one in statement.inherited_from if one[0] not in gone),
    )


@lru_cache(maxsize=65536)
def _group_cells(
    species: Species,
    group: LinkageGroup,
    factors: tuple[tuple[Factor, int], ...],
    sire: HaplotypePair,
    dam: HaplotypePair,
    sex: Sex | None,
) -> tuple[tuple[int, float], ...]:
    """Bits that the factors of one group show -> chance, among hatchlings of ``sex``."""
    by_sex = sex is not None and group.is_sex_group
    found: dict[int, Fraction] = {}
    for offspring, chance in group_offspring(species, group, sire, dam):
        if by_sex and offspring.sex is not sex:
            continue
        looks = {
            key: species.by_key[key].look(pair)
            for key, pair in zip(group.loci, offspring.pairs, strict=True)
        }
        bits = sum(look_bits(species, one, looks[one.locus]) << shift for one, shift in factors)
        found[bits] = found.get(bits, Fraction(0)) + chance * (2 if by_sex else 1)
    return tuple((bits, float(chance)) for bits, chance in found.items())


@lru_cache(maxsize=65536)
def cell_chances(
    species: Species,
    target: Target,
    sire: tuple[HaplotypePair, ...],
    dam: tuple[HaplotypePair, ...],
    sex: Sex | None = None,
) -> tuple[float, ...]:
    """Chance of each cell of a target for one hatchling of two known parents, by cell number."""
    cells = np.zeros(target.n_cells)
    cells[0] = 1.0
    for place, group in enumerate(target_groups(species, target)):
        factors = tuple(
            (factor, shift)
            for factor, shift in zip(target.factors, target.shifts, strict=True)
            if factor.locus in group.loci
        )
        added = np.zeros(target.n_cells)
        for bits, chance in _group_cells(species, group, factors, sire[place], dam[place], sex):
            occupied = np.flatnonzero(cells)
            added[occupied | bits] += cells[occupied] * chance
        cells = added
    return tuple(float(chance) for chance in cells)


def cell_tables(
    species: Species,
    target: Target,
    sires: Sequence[tuple[HaplotypePair, ...]],
    dams: Sequence[tuple[HaplotypePair, ...]],
    sex: Sex | None,
) -> NDArray[np.float64]:
    """``cell_chances`` of every two states of two parents at once; shape (sires, dams, cells)."""
    cells = np.zeros((len(sires), len(dams), target.n_cells))
    cells[..., 0] = 1.0
    for place, group in enumerate(target_groups(species, target)):
        factors = tuple(
            (factor, shift)
            for factor, shift in zip(target.factors, target.shifts, strict=True)
            if factor.locus in group.loci
        )
        his = {one: number for number, one in enumerate(dict.fromkeys(s[place] for s in sires))}
        hers = {one: number for number, one in enumerate(dict.fromkeys(d[place] for d in dams))}
        chances: dict[int, NDArray[np.float64]] = {}
        for sire, row in his.items():
            for dam, column in hers.items():
                for bits, chance in _group_cells(species, group, factors, sire, dam, sex):
                    table = chances.setdefault(bits, np.zeros((len(his), len(hers))))
                    table[row, column] = chance
        both = np.ix_([his[one[place]] for one in sires], [hers[one[place]] for one in dams])
        occupied = np.flatnonzero(cells.any(axis=(0, 1)))
        added = np.zeros_like(cells)
        for bits, table in chances.items():
            added[..., occupied | bits] += cells[..., occupied] * table[both][..., None]
        cells = added
    return cells
