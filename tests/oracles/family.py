"""Families and clutches by brute force: everything all animals may carry, hatchling by hatchling.

Builds on ``tests.oracles.offspring`` and imports nothing from ``genetics.evidence`` or
``genetics.cross``.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import product
from math import prod

from genetics.model.belief import Belief, HaplotypePair
from genetics.model.locus import AllelePair
from genetics.model.species import Sex, Species
from tests.oracles.offspring import (
    Parents,
    every_parents,
    hatchlings,
    looks_of,
    wanted_chance,
)

ONE = Fraction(1)
Wanted = Mapping[str, frozenset[AllelePair]]
Carried = tuple[HaplotypePair, ...]
Reading = Mapping[str, str]


@dataclass(frozen=True)
class Brood:
    """Hatchlings of one pair: places of sire and dam, and the sex of each hatchling."""

    sire: int
    dam: int
    sexes: tuple[Sex | None, ...]


@dataclass(frozen=True)
class Seen:
    """One hatchling as called: readings with the keeper's odds, and its sex if known."""

    readings: tuple[tuple[Reading, Fraction], ...]
    sex: Sex | None = None


def every_carried(species: Species, belief: Belief) -> list[tuple[Carried, Fraction]]:
    """Everything one animal may carry at all groups, with its chance."""
    return [
        (tuple(pair for pair, _c in chosen), prod((c for _p, c in chosen), start=ONE))
        for chosen in product(*(belief.states(species, group) for group in species.groups))
    ]


def total_hits_law(
    species: Species,
    sires: Sequence[Belief],
    dams: Sequence[Belief],
    broods: Sequence[Brood],
    wanted: Wanted,
) -> list[Fraction]:
    """Chance of 0, 1, 2 ... hits of a family: a sum over what ALL its animals carry."""
    n = sum(len(brood.sexes) for brood in broods)
    total = [Fraction(0)] * (n + 1)
    animals = [every_carried(species, belief) for belief in (*sires, *dams)]
    known: dict[tuple[Carried, Carried, Sex | None], Fraction] = {}
    for chosen in product(*animals):
        law = [prod((chance for _carried, chance in chosen), start=ONE)]
        carried = [one for one, _chance in chosen]
        for brood in broods:
            sire, dam = carried[brood.sire], carried[len(sires) + brood.dam]
            for sex in brood.sexes:
                if (sire, dam, sex) not in known:
                    parents = tuple(zip(sire, dam, strict=True))
                    known[sire, dam, sex] = wanted_chance(species, parents, wanted, sex)
                hit = known[sire, dam, sex]
                grown = [chance * (1 - hit) for chance in law] + [Fraction(0)]
                for k, chance in enumerate(law):
                    grown[k + 1] += chance * hit
                law = grown
        for k, chance in enumerate(law):
            total[k] += chance
    return total


def look_chances(
    species: Species, parents: Parents
) -> dict[tuple[tuple[str, ...], Sex | None], Fraction]:
    """Chance of each look and sex, of known parents."""
    found: defaultdict[tuple[tuple[str, ...], Sex | None], Fraction] = defaultdict(Fraction)
    for hatchling, chance in hatchlings(species, parents).items():
        found[looks_of(species, hatchling), hatchling[0]] += chance
    return found


def seen_chance(
    species: Species, table: Mapping[tuple[tuple[str, ...], Sex | None], Fraction], seen: Seen
) -> Fraction:
    """Chance of a hatchling that can be called so, weighed by the keeper's odds."""
    total = Fraction(0)
    for reading, odds in seen.readings:
        looks = tuple(reading.get(locus.key, "") for locus in species.loci)
        sexes = {None, *Sex} if seen.sex is None else {None, seen.sex}
        total += odds * sum(table.get((looks, sex), Fraction(0)) for sex in sexes)
    return total


Weighed = list[tuple[Parents, Fraction]]


def parents_given(species: Species, sire: Belief, dam: Belief, clutch: Sequence[Seen]) -> Weighed:
    """Everything both parents may carry, weighed by prior and by every hatchling; not scaled."""
    found = []
    for parents, prior in every_parents(species, sire, dam):
        table = look_chances(species, parents)
        weight = prior
        for seen in clutch:
            weight *= seen_chance(species, table, seen)
        found.append((parents, weight))
    return found


def chance_of_carrying(weighed: Weighed, *, side: int, gene: str) -> Fraction:
    """Chance that the sire (side 0) or dam (side 1) carries a gene."""
    having = [
        weight
        for parents, weight in weighed
        if any(gene in haplotype for pair in parents for haplotype in pair[side])
    ]
    return sum(having, start=Fraction(0)) / sum(weight for _parents, weight in weighed)


def look_table(
    species: Species, sire: Belief, dam: Belief
) -> tuple[list[tuple[str, ...]], list[list[Fraction]], list[Fraction]]:
    """All looks of a pairing (sexes together); for each state of the parents, chances; weights."""
    rows, weights = [], []
    for parents, weight in every_parents(species, sire, dam):
        row: defaultdict[tuple[str, ...], Fraction] = defaultdict(Fraction)
        for (look, _sex), chance in look_chances(species, parents).items():
            row[look] += chance
        rows.append(row)
        weights.append(weight)
    looks = sorted({look for row in rows for look in row})
    return looks, [[row.get(look, Fraction(0)) for look in looks] for row in rows], weights
