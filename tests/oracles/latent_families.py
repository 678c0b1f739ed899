"""Likelihood of families by listing what every one of their animals may really carry.

Every stated gene of every animal is there or not, every possible het is there or not, and every
arrangement on the chromosomes is listed (``tests.oracles.parents``); hatchlings come from
``tests.oracles.offspring``. Nothing from ``genetics.evidence`` or ``genetics.cross``; how looks
make a cell number is read from ``genetics.pool.target``, which has tests of its own.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import product
from math import fsum, inf, log, prod

from genetics.model.belief import HaplotypePair, ParentStatement
from genetics.model.species import Sex, Species
from genetics.model.statement import StatedGenes, StatedLocus
from genetics.pool.pool import PoolRow
from genetics.pool.target import Target, look_bits
from tests.oracles.offspring import hatchlings, looks_of
from tests.oracles.parents import every_haplotype_pair

ONE = Fraction(1)
Way = Callable[[list[Fraction]], list[Fraction]]
"""What becomes of the chances of the cells; the outcome need not sum to 1."""


def hatching(psi: Fraction | float) -> Way:
    """The last cell hatches ``psi`` times as often."""
    return hatching_less(lambda cell, n: cell == n - 1, psi)


def hatching_less(concerned: Callable[[int, int], bool], ratio: Fraction | float) -> Way:
    """Cells for which ``concerned(cell, number of cells)`` holds hatch ``ratio`` as often."""

    def way(chances: list[Fraction]) -> list[Fraction]:
        return [
            chance * Fraction(ratio) if concerned(cell, len(chances)) else chance
            for cell, chance in enumerate(chances)
        ]

    return way


def called(instead: Callable[[int, int], int], share: Fraction | float) -> Way:
    """A ``share`` of each cell is called ``instead(cell, number of cells)``."""

    def way(chances: list[Fraction]) -> list[Fraction]:
        found = [Fraction(0)] * len(chances)
        for cell, chance in enumerate(chances):
            found[cell] += chance * (1 - Fraction(share))
            found[instead(cell, len(chances))] += chance * Fraction(share)
        return found

    return way


@dataclass(frozen=True)
class Carried:
    """What one animal carries, by group of the species; how many stated genes are missing."""

    n_missing: int
    weight: Fraction
    haplotypes: tuple[HaplotypePair, ...]


def stated_for_certain(target: Target, statement: ParentStatement) -> list[tuple[str, str]]:
    """Locus and gene of what is said to be there, at the loci of the target."""
    return [
        (key, gene)
        for key, said in statement.genes.loci
        if key in target.loci
        for gene in sorted(set(said.certain))
    ]


def every_carried(species: Species, target: Target, statement: ParentStatement) -> list[Carried]:
    """Everything one animal may carry; the weights of each set of missing genes sum to 1."""
    doubtful = stated_for_certain(target, statement)
    found = []
    for there in product((True, False), repeat=len(doubtful)):
        gone = {
            gene for (_key, gene), is_there in zip(doubtful, there, strict=True) if not is_there
        }
        left = StatedGenes(
            tuple(
                (key, StatedLocus(tuple(g for g in said.certain if g not in gone), said.possible))
                for key, said in statement.genes.loci
            )
        )
        really = replace(statement, genes=left)
        per_group = [every_haplotype_pair(species, group, really) for group in species.groups]
        for chosen in product(*(states.items() for states in per_group)):
            weight = prod((chance for _pair, chance in chosen), start=ONE)
            found.append(Carried(len(gone), weight, tuple(pair for pair, _chance in chosen)))
    return found


def cells_of(
    species: Species, target: Target, sire: Carried, dam: Carried, sex: Sex | None
) -> list[Fraction]:
    """Chance of each cell, among hatchlings of a sex if one is given."""
    found = [Fraction(0)] * target.n_cells
    for hatchling, chance in hatchlings(
        species, tuple(zip(sire.haplotypes, dam.haplotypes, strict=True))
    ).items():
        if sex is None or hatchling[0] in {None, sex}:
            looks = dict(
                zip(
                    (locus.key for locus in species.loci), looks_of(species, hatchling), strict=True
                )
            )
            cell = 0
            for factor, shift in zip(target.factors, target.shifts, strict=True):
                cell |= look_bits(species, factor, looks[factor.locus]) << shift
            found[cell] += chance
    return [chance / sum(found) for chance in found]


def clutch_chance(
    species: Species, target: Target, sire: Carried, dam: Carried, clutch: Sequence, way: Way
) -> Fraction:
    """Chance of the calls of one clutch, in their order, hatchling by hatchling."""
    total = ONE
    for cell in clutch:
        weights = way(cells_of(species, target, sire, dam, cell.sex))
        for _hatchling in range(cell.count):
            seen = sum((weights[one] for one in cell.cells), start=Fraction(0))
            total *= seen / sum(weights) if sum(weights) else Fraction(0)
    return total


@dataclass(frozen=True)
class FamilyChance:
    """Chance of a family's calls by the number of its stated genes that are missing."""

    by_missing: tuple[float, ...]

    def at(self, rate: float) -> float:
        most = len(self.by_missing) - 1
        return fsum(
            chance * rate**k * (1 - rate) ** (most - k) for k, chance in enumerate(self.by_missing)
        )


def n_joint_states(species: Species, target: Target, row: PoolRow) -> int:
    """Terms of the sum over everything that all animals may carry."""
    return prod(len(every_carried(species, target, one)) for one in (*row.sires, *row.dams))


def family_chance(species: Species, target: Target, row: PoolRow, way: Way) -> FamilyChance:
    """The sum over everything that ALL animals of the family may carry together."""
    animals = [every_carried(species, target, one) for one in (*row.sires, *row.dams)]
    most = sum(len(stated_for_certain(target, one)) for one in (*row.sires, *row.dams))
    terms: list[list[float]] = [[] for _ in range(most + 1)]
    known: dict[tuple[int, int, int], float] = {}

    def chance(number: int, sire: int, dam: int) -> float:
        if (number, sire, dam) not in known:
            clutch = row.clutches[number]
            known[number, sire, dam] = float(
                clutch_chance(
                    species,
                    target,
                    animals[clutch.sire][sire],
                    animals[len(row.sires) + clutch.dam][dam],
                    clutch.cells,
                    way,
                )
            )
        return known[number, sire, dam]

    for places in product(*(range(len(states)) for states in animals)):
        chosen = [states[place] for states, place in zip(animals, places, strict=True)]
        weight = float(prod((one.weight for one in chosen), start=ONE))
        for number, clutch in enumerate(row.clutches):
            weight *= chance(number, places[clutch.sire], places[len(row.sires) + clutch.dam])
        terms[sum(one.n_missing for one in chosen)].append(weight)
    return FamilyChance(tuple(fsum(one) for one in terms))


Pools = Sequence[tuple[Species, Target, Mapping[PoolRow, int]]]


def pool_chances(pools: Pools, way: Way) -> list[tuple[int, FamilyChance]]:
    """Every distinct family with how often it occurs."""
    return [
        (times, family_chance(species, target, row, way))
        for species, target, rows in pools
        for row, times in rows.items()
    ]


def log_chance(families: Sequence[tuple[int, FamilyChance]], rate: float) -> float:
    """Logarithm of the chance of a pool, given the chance that a stated gene is missing."""
    logs = []
    for times, family in families:
        here = family.at(rate)
        if here == 0:
            return -inf
        logs.append(times * log(here))
    return fsum(logs)


def every_clutch(cells: Sequence[int], n: int) -> Iterator[tuple[int, ...]]:
    """Every way ``n`` hatchlings can fall into cells, one after the other."""
    yield from product(cells, repeat=n)
