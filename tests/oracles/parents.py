"""What a statement leaves open, by listing every way to lay alleles on two chromosomes."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from fractions import Fraction
from itertools import product
from math import prod

from genetics.model.belief import Haplotype, HaplotypePair, ParentStatement, Phase
from genetics.model.linkage import LinkageGroup
from genetics.model.species import Sex, Species

ONE = Fraction(1)


def every_haplotype_pair(
    species: Species, group: LinkageGroup, statement: ParentStatement
) -> dict[HaplotypePair, Fraction]:
    """Chance of every haplotype pair of one group, unproven genes taken as stated.

    For each content (which possible hets are there), all pairs of haplotypes from sire and dam
    are listed and those kept that have this content and fit what is said of phase and origin;
    the kept ones are equally likely. Empty if nothing is kept for some content.
    """
    found: defaultdict[HaplotypePair, Fraction] = defaultdict(Fraction)
    everything = list(_from_sire_and_dam(species, group, statement.sex))
    single = group.without_copy if statement.sex is species.sex_system.heterogametic else ()
    for content, chance in _contents(group, statement, frozenset(single)):
        kept = [
            (one, other)
            for one, other in everything
            if _content(group, one, other) == content
            and all(_agrees(one, other, phase) for phase in statement.phases)
            and all(
                _sits(one, other, gene, (one[0] == letter, other[0] == letter))
                for gene, letter in statement.on_chromosome
            )
            and all(
                _sits(one, other, gene, (origin == "sire", origin == "dam"))
                for gene, origin in statement.inherited_from
            )
        ]
        if not kept:
            return {}
        for one, other in kept:
            found[min(one, other), max(one, other)] += chance / len(kept)
    return dict(found)


def _from_sire_and_dam(
    species: Species, group: LinkageGroup, sex: Sex
) -> Iterator[tuple[Haplotype, Haplotype]]:
    letters = {
        ("XY", Sex.MALE): "YX",  # from sire, from dam
        ("XY", Sex.FEMALE): "XX",
        ("ZW", Sex.MALE): "ZZ",
        ("ZW", Sex.FEMALE): "ZW",
    }.get((species.sex_system.value, sex))
    sides = []
    for side in (0, 1):
        places: list[list[str]] = []
        if group.is_sex_group and letters is not None:
            places.append([letters[side]])
        for key in group.loci:
            names = [allele.name for allele in species.by_key[key].alleles]
            absent = bool(places) and places[0][0] in "YW" and key in group.without_copy
            places.append(["-"] if absent else [*names, "+"])
        sides.append(list(product(*places)))
    yield from product(*sides)


def _contents(
    group: LinkageGroup, statement: ParentStatement, single: frozenset[str]
) -> Iterator[tuple[list[list[str]], Fraction]]:
    """Alleles other than wild type at each locus, with the chance of just these.

    At a locus of which the animal has a ``single`` copy, stated twice means that copy.
    """
    possible = [
        (key, allele, chance)
        for key in group.loci
        for allele, chance in statement.genes.at(key).possible
        if chance is not None
    ]
    for there in product((False, True), repeat=len(possible)):
        content = {key: list(statement.genes.at(key).certain) for key in group.loci}
        for (key, allele, _chance), is_there in zip(possible, there, strict=True):
            content[key] += [allele] * is_there
        chance = prod(
            (c if t else 1 - c for (_k, _a, c), t in zip(possible, there, strict=True)), start=ONE
        )
        yield (
            [sorted(set(content[key]) if key in single else content[key]) for key in group.loci],
            chance,
        )


def _content(group: LinkageGroup, one: Haplotype, other: Haplotype) -> list[list[str]]:
    first = 1 if group.is_sex_group else 0
    return [
        sorted({one[place], other[place]} - {"+", "-"})
        if one[place] != other[place]
        else [one[place]] * 2 * (one[place] != "+")
        for place in range(first, len(one))
    ]


def _agrees(one: Haplotype, other: Haplotype, phase: Phase) -> bool:
    if not all(gene in one or gene in other for gene in phase.genes):
        return True
    return phase.coupling == any(set(phase.genes) <= set(haplotype) for haplotype in (one, other))


def _sits(one: Haplotype, other: Haplotype, gene: str, allowed: tuple[bool, bool]) -> bool:
    """Whether a gene, if it is there at all, is on one of the chromosomes that are allowed."""
    if gene not in one and gene not in other:
        return True
    return (allowed[0] and gene in one) or (allowed[1] and gene in other)
