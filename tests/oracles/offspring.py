"""Offspring by brute force: every gamete strand by strand, every pair of gametes, counted.

Nothing from ``genetics.cross``: species and linkage groups are read as plain data, parents are
given as the two haplotypes of each group, sexes are told by the letters of the chromosomes.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterator, Mapping
from fractions import Fraction
from itertools import product
from math import prod
from random import Random

from genetics.model.belief import Belief, Haplotype, HaplotypePair
from genetics.model.linkage import LinkageGroup
from genetics.model.locus import AllelePair
from genetics.model.species import Sex, Species

Hatchling = tuple[Sex | None, tuple[AllelePair, ...]]
"""Sex, where a sex-linked group was looked at, and the genotypes at the loci asked for."""

Parents = tuple[tuple[HaplotypePair, HaplotypePair], ...]
"""What sire and dam really carry, for each group of the species in turn."""

ONE = Fraction(1)


def gaps(group: LinkageGroup) -> tuple[Fraction, ...]:
    """Recombination fractions between neighbouring places of a haplotype."""
    return group.fractions if group.is_sex_group else group.fractions[1:]


def all_gametes(group: LinkageGroup, haplotypes: HaplotypePair) -> dict[Haplotype, Fraction]:
    """Chance of every gamete: each starting strand with each vector of crossings, one by one."""
    found: defaultdict[Haplotype, Fraction] = defaultdict(Fraction)
    for start in (0, 1):
        for crossings in product((False, True), repeat=len(gaps(group))):
            strands = [start]
            for crossed in crossings:
                strands.append(1 - strands[-1] if crossed else strands[-1])
            passed = tuple(haplotypes[strand][place] for place, strand in enumerate(strands))
            chances = (r if c else 1 - r for r, c in zip(gaps(group), crossings, strict=True))
            found[passed] += Fraction(1, 2) * prod(chances, start=ONE)
    return {gamete: chance for gamete, chance in found.items() if chance}


def sex_of(letters: set[str]) -> Sex:
    """A Y makes a male, a W a female; two Z a male, two X a female."""
    if letters & {"Y", "W"}:
        return Sex.MALE if "Y" in letters else Sex.FEMALE
    return Sex.MALE if letters == {"Z"} else Sex.FEMALE


def joined(
    species: Species, group: LinkageGroup, from_sire: Haplotype, from_dam: Haplotype
) -> Hatchling:
    """The hatchling of two gametes of one group; alleles in the order of the species file."""
    sex, first = None, 0
    if group.is_sex_group:
        sex, first = sex_of({from_sire[0], from_dam[0]}), 1
    pairs = []
    for place, key in enumerate(group.loci, start=first):
        order = [*(allele.name for allele in species.by_key[key].alleles), "+", "-"]
        one, other = sorted((from_sire[place], from_dam[place]), key=order.index)
        pairs.append((one, other))
    return sex, tuple(pairs)


def group_hatchlings(
    species: Species, group: LinkageGroup, sire: HaplotypePair, dam: HaplotypePair
) -> dict[Hatchling, Fraction]:
    """Chance of every hatchling at one group: all gametes of the one with all of the other."""
    found: defaultdict[Hatchling, Fraction] = defaultdict(Fraction)
    for from_sire, one in all_gametes(group, sire).items():
        for from_dam, other in all_gametes(group, dam).items():
            found[joined(species, group, from_sire, from_dam)] += one * other
    return found


def every_parents(
    species: Species, sire: Belief, dam: Belief
) -> Iterator[tuple[Parents, Fraction]]:
    """Everything both parents may really carry at all groups of the species, with its chance."""
    choices = [
        [
            ((one, other), one_chance * other_chance)
            for one, one_chance in sire.states(species, group)
            for other, other_chance in dam.states(species, group)
        ]
        for group in species.groups
    ]
    for chosen in product(*choices):
        yield tuple(pair for pair, _chance in chosen), prod((c for _p, c in chosen), start=ONE)


def hatchlings(species: Species, parents: Parents) -> dict[Hatchling, Fraction]:
    """Chance of every hatchling at all loci, in the order of the species file: the joint table."""
    found: defaultdict[Hatchling, Fraction] = defaultdict(Fraction)
    tables = [
        group_hatchlings(species, group, *pair)
        for group, pair in zip(species.groups, parents, strict=True)
    ]
    keys = [key for group in species.groups for key in group.loci]
    order = [keys.index(locus.key) for locus in species.loci]
    for chosen in product(*(table.items() for table in tables)):
        sex = next((one for (one, _pairs), _chance in chosen if one is not None), None)
        pairs = [pair for (_sex, pairs), _chance in chosen for pair in pairs]
        chance = prod((chance for _hatchling, chance in chosen), start=ONE)
        found[sex, tuple(pairs[place] for place in order)] += chance
    return found


def mean_hatchlings(species: Species, sire: Belief, dam: Belief) -> dict[Hatchling, Fraction]:
    """The joint table over everything the parents may carry."""
    found: defaultdict[Hatchling, Fraction] = defaultdict(Fraction)
    for parents, weight in every_parents(species, sire, dam):
        for hatchling, chance in hatchlings(species, parents).items():
            found[hatchling] += weight * chance
    return found


def is_wanted(
    species: Species, hatchling: Hatchling, wanted: Mapping[str, frozenset[AllelePair]]
) -> bool:
    """Whether a hatchling has one of the wanted genotypes at each locus named."""
    genotype = dict(zip((locus.key for locus in species.loci), hatchling[1], strict=True))
    return all(genotype[key] in pairs for key, pairs in wanted.items())


def wanted_chance(
    species: Species,
    parents: Parents,
    wanted: Mapping[str, frozenset[AllelePair]],
    sex: Sex | None = None,
) -> Fraction:
    """Share of wanted hatchlings; with ``sex``, among those of that sex (or of no stated sex)."""
    table = {
        hatchling: chance
        for hatchling, chance in hatchlings(species, parents).items()
        if sex is None or hatchling[0] in {None, sex}
    }
    hits = sum(c for hatchling, c in table.items() if is_wanted(species, hatchling, wanted))
    return Fraction(hits) / sum(table.values())


def wanted_law(
    species: Species,
    sire: Belief,
    dam: Belief,
    wanted: Mapping[str, frozenset[AllelePair]],
    sex: Sex | None = None,
) -> dict[Fraction, Fraction]:
    """Law of that share over everything the parents may carry."""
    law: defaultdict[Fraction, Fraction] = defaultdict(Fraction)
    for parents, weight in every_parents(species, sire, dam):
        law[wanted_chance(species, parents, wanted, sex)] += weight
    return dict(law)


def looks_of(species: Species, hatchling: Hatchling) -> tuple[str, ...]:
    """What a hatchling shows at each locus of the species."""
    return tuple(locus.look(p) for locus, p in zip(species.loci, hatchling[1], strict=True))


def simulated(
    species: Species, sire: Belief, dam: Belief, *, n: int, seed: int
) -> Counter[Hatchling]:
    """Hatchlings of ``n`` random pairs, each drawn once: parents, strands and crossings by coin."""
    random = Random(seed)
    choices = [
        (group, [(states, [float(chance) for _pair, chance in states]) for states in both])
        for group in species.groups
        for both in [[belief.states(species, group) for belief in (sire, dam)]]
    ]
    found: Counter[Hatchling] = Counter()
    for _ in range(n):
        sex = None
        genotype: dict[str, AllelePair] = {}
        for group, both in choices:
            gametes = [
                _drawn_gamete(random, group, random.choices(states, chances)[0][0])
                for states, chances in both
            ]
            group_sex, pairs = joined(species, group, gametes[0], gametes[1])
            sex = group_sex or sex
            genotype.update(zip(group.loci, pairs, strict=True))
        found[sex, tuple(genotype[locus.key] for locus in species.loci)] += 1
    return found


def _drawn_gamete(random: Random, group: LinkageGroup, haplotypes: HaplotypePair) -> Haplotype:
    strand = random.randrange(2)
    passed = [haplotypes[strand][0]]
    for place, fraction in enumerate(gaps(group), start=1):
        if random.random() < fraction:
            strand = 1 - strand
        passed.append(haplotypes[strand][place])
    return tuple(passed)
