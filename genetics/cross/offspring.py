"""Offspring of a pairing: exact, as a product over independent linkage groups."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache
from itertools import product
from math import prod
from typing import TYPE_CHECKING

from genetics.cross.gametes import gametes
from genetics.errors import TooManyLooksError
from genetics.model.genotype import WILD_PAIR
from genetics.model.locus import AllelePair
from genetics.model.species import Sex, Species

if TYPE_CHECKING:
    from genetics.model.belief import Belief, HaplotypePair
    from genetics.model.linkage import LinkageGroup

Wanted = Mapping[str, frozenset[AllelePair]]
"""Locus key -> the genotypes that count; loci that are not named may be anything."""

ChanceLaw = Mapping[Fraction, Fraction]
"""Chance of one hatchling -> weight, over what the parents may really carry. Weights sum to 1.
All hatchlings of a pair share the parents, so they share this latent chance."""

JOINT_TABLE_LIMIT = 1_000_000
"""Largest joint table of genotypes that is enumerated, in entries."""


@dataclass(frozen=True, slots=True)
class OffspringClass:
    """A hatchling at the loci of one linkage group; ``sex`` only in the sex group."""

    sex: Sex | None
    pairs: tuple[AllelePair, ...]


Offspring = tuple[tuple[OffspringClass, Fraction], ...]


@lru_cache(maxsize=65536)
def group_offspring(
    species: Species, group: LinkageGroup, sire: HaplotypePair, dam: HaplotypePair
) -> Offspring:
    """Classes of hatchlings for one linkage group of two known parents; chances sum to 1."""
    loci = [species.by_key[key] for key in group.loci]
    shift = 1 if group.is_sex_group else 0
    found: dict[OffspringClass, Fraction] = {}
    for from_sire, sire_chance in gametes(group, sire):
        for from_dam, dam_chance in gametes(group, dam):
            sex = (
                species.sex_system.sex_of(from_sire[0], from_dam[0]) if group.is_sex_group else None
            )
            pairs = tuple(
                locus.pair(from_sire[place], from_dam[place])
                for place, locus in enumerate(loci, start=shift)
            )
            offspring = OffspringClass(sex=sex, pairs=pairs)
            found[offspring] = found.get(offspring, Fraction(0)) + sire_chance * dam_chance
    return tuple(found.items())


@dataclass(frozen=True, eq=False)
class Pairing:
    """Two parents of one species.

    Every chance is exact. What the parents may really carry (possible hets, unknown phase) is a
    latent state: each linkage group has its own, independent of the others, shared by all
    hatchlings of the pair.
    """

    species: Species
    sire: Belief
    dam: Belief

    def groups_in_play(self) -> tuple[LinkageGroup, ...]:
        """Linkage groups at which a parent is, or may be, other than wild type."""
        carried = [group for belief in (self.sire, self.dam) for group, _states in belief.groups]
        return tuple(group for group in self.species.groups if group in carried)

    def latent_states(
        self, group: LinkageGroup
    ) -> Iterator[tuple[HaplotypePair, HaplotypePair, Fraction]]:
        """Sire's and dam's haplotype pairs in one group with the chance of both."""
        for sire, sire_chance in self.sire.states(self.species, group):
            for dam, dam_chance in self.dam.states(self.species, group):
                yield sire, dam, sire_chance * dam_chance

    def mean_offspring(self, group: LinkageGroup) -> Mapping[OffspringClass, Fraction]:
        """Classes of one group with their chance over everything the parents may carry."""
        found: dict[OffspringClass, Fraction] = {}
        for sire, dam, weight in self.latent_states(group):
            for offspring, chance in group_offspring(self.species, group, sire, dam):
                found[offspring] = found.get(offspring, Fraction(0)) + weight * chance
        return found


def group_chance(
    species: Species,
    group: LinkageGroup,
    sire: HaplotypePair,
    dam: HaplotypePair,
    wanted: Wanted,
    sex: Sex | None = None,
) -> Fraction:
    """Chance that one hatchling of two known parents is as wanted at the loci of this group.

    With ``sex``, the chance among hatchlings of that sex. Sons and daughters are equally
    frequent, so it is twice the chance of both.
    """
    tests = [wanted.get(key) for key in group.loci]
    by_sex = sex is not None and group.is_sex_group
    total = Fraction(0)
    for offspring, chance in group_offspring(species, group, sire, dam):
        if by_sex and offspring.sex is not sex:
            continue
        if all(
            test is None or pair in test for test, pair in zip(tests, offspring.pairs, strict=True)
        ):
            total += chance
    return 2 * total if by_sex else total


def chance_law(pairing: Pairing, wanted: Wanted, *, sex: Sex | None = None) -> ChanceLaw:
    """Law of the chance that one hatchling is as wanted, without the joint table.

    One entry while both parents are certain. Only the groups of the wanted loci are visited and
    equal chances are merged, so the work grows with the number of wanted loci, not with the
    number of outcomes.
    """
    law: dict[Fraction, Fraction] = {Fraction(1): Fraction(1)}
    for group in _groups_of(pairing.species, wanted):
        here: dict[Fraction, Fraction] = {}
        for sire, dam, weight in pairing.latent_states(group):
            chance = group_chance(pairing.species, group, sire, dam, wanted, sex)
            here[chance] = here.get(chance, Fraction(0)) + weight
        merged: dict[Fraction, Fraction] = {}
        for before, before_weight in law.items():
            for chance, weight in here.items():
                value = before * chance
                merged[value] = merged.get(value, Fraction(0)) + before_weight * weight
        law = merged
    return law


def mean_chance(law: ChanceLaw) -> Fraction:
    """Chance of one hatchling over everything the parents may carry."""
    return sum((chance * weight for chance, weight in law.items()), start=Fraction(0))


def _groups_of(species: Species, wanted: Wanted) -> list[LinkageGroup]:
    return [group for group in species.groups if any(key in wanted for key in group.loci)]


def genotype_table(
    pairing: Pairing, *, limit: int = JOINT_TABLE_LIMIT
) -> Iterator[tuple[Mapping[str, AllelePair], Sex | None, Fraction]]:
    """The joint table: genotype by locus (not wild ones only), sex if linked, chance; lazily.

    Raises
    ------
    TooManyLooksError
        More than ``limit`` entries; raised before anything is enumerated.
    """
    groups = pairing.groups_in_play()
    tables = [tuple(pairing.mean_offspring(group).items()) for group in groups]
    n_entries = prod(len(table) for table in tables)
    if n_entries > limit:
        raise TooManyLooksError(n_looks=n_entries, limit=limit)
    return _joint_entries(groups, tables)


def _joint_entries(
    groups: tuple[LinkageGroup, ...],
    tables: list[tuple[tuple[OffspringClass, Fraction], ...]],
) -> Iterator[tuple[Mapping[str, AllelePair], Sex | None, Fraction]]:
    for combination in product(*tables):
        genotype: dict[str, AllelePair] = {}
        sex = None
        chance = Fraction(1)
        for group, (offspring, group_chance_) in zip(groups, combination, strict=True):
            sex = offspring.sex or sex
            chance *= group_chance_
            here = zip(group.loci, offspring.pairs, strict=True)
            genotype.update((key, pair) for key, pair in here if pair != WILD_PAIR)
        yield genotype, sex, chance
