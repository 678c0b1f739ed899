"""What a pairing can be expected to throw: looks, the hets behind them, chances and waits."""

from __future__ import annotations

import heapq
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from enum import StrEnum
from fractions import Fraction
from math import floor, prod
from typing import TYPE_CHECKING

from genetics.model.locus import ABSENT, WILD, WILD_LOOK, AllelePair, Locus, Mode
from genetics.model.species import Sex, Species

if TYPE_CHECKING:
    from genetics.cross.offspring import OffspringClass, Pairing
    from genetics.model.linkage import LinkageGroup


class HiddenKind(StrEnum):
    """What a look does not tell."""

    HET = "het"
    TWO_COPIES = "two-copies"
    GENOTYPE = "genotype"


@dataclass(frozen=True, slots=True)
class Hidden:
    """Something that an animal of a look may carry unseen.

    ``genes`` is the one gene carried (``HET``) or there twice (``TWO_COPIES``), or the two
    alleles that make the look (``GENOTYPE``). ``chance`` is among animals of that look.
    """

    locus: str
    kind: HiddenKind
    genes: tuple[str, ...]
    chance: Fraction

    @property
    def text(self) -> str:
        """As the trade writes it: ``66% het Clown``. The percentage is cut, not rounded."""
        percent = floor(100 * self.chance)
        share = f"{percent}%" if percent else "under 1%"
        if self.kind is HiddenKind.HET:
            return f"{share} het {self.genes[0]}"
        if self.kind is HiddenKind.TWO_COPIES or len(set(self.genes)) == 1:
            return f"{share} super {self.genes[0]}"
        return f"{share} {' '.join(self.genes)}"


@dataclass(frozen=True, slots=True)
class GroupLook:
    """What shows at the loci of one linkage group, with its chance and what it hides.

    ``looks`` are wordings in the order of the group, ``""`` where nothing shows. ``sex`` is set
    only where the sexes differ; the chance is then that of look and sex together.
    """

    looks: tuple[str, ...]
    sex: Sex | None
    chance: Fraction
    hidden: tuple[Hidden, ...]


@dataclass(frozen=True, slots=True)
class Look:
    """One look of a hatchling: visible states by locus key, wild type looks left out."""

    states: tuple[tuple[str, str], ...]
    sex: Sex | None
    chance: Fraction
    hidden: tuple[Hidden, ...]


def group_looks(pairing: Pairing, group: LinkageGroup) -> tuple[GroupLook, ...]:
    """Looks at one linkage group, likeliest first; their chances sum to 1."""
    classes = pairing.mean_offspring(group)
    by_look: dict[tuple[tuple[str, ...], Sex | None], dict[tuple[AllelePair, ...], Fraction]] = {}
    split = group.is_sex_group and _sexes_differ(classes)
    loci = [pairing.species.by_key[key] for key in group.loci]
    for offspring, chance in classes.items():
        looks = tuple(locus.look(pair) for locus, pair in zip(loci, offspring.pairs, strict=True))
        genotypes = by_look.setdefault((looks, offspring.sex if split else None), {})
        genotypes[offspring.pairs] = genotypes.get(offspring.pairs, Fraction(0)) + chance
    found = []
    for (looks, sex), genotypes in by_look.items():
        total = sum(genotypes.values(), start=Fraction(0))
        hidden: list[Hidden] = []
        for place, locus in enumerate(loci):
            pairs: dict[AllelePair, Fraction] = {}
            for combination, chance in genotypes.items():
                pair = combination[place]
                pairs[pair] = pairs.get(pair, Fraction(0)) + chance / total
            hidden += hidden_behind(locus, looks[place], pairs)
        found.append(GroupLook(looks=looks, sex=sex, chance=total, hidden=tuple(hidden)))
    return tuple(sorted(found, key=lambda one: (-one.chance, one.looks, one.sex or "")))


def _sexes_differ(classes: Mapping[OffspringClass, Fraction]) -> bool:
    by_sex: dict[Sex | None, dict[tuple[AllelePair, ...], Fraction]] = {}
    for offspring, chance in classes.items():
        by_sex.setdefault(offspring.sex, {})[offspring.pairs] = chance
    return by_sex.get(Sex.MALE) != by_sex.get(Sex.FEMALE)


def hidden_behind(
    locus: Locus, look: str, pairs: Mapping[AllelePair, Fraction]
) -> tuple[Hidden, ...]:
    """What animals of one look may carry unseen at one locus.

    Parameters
    ----------
    pairs
        Genotypes of animals with this look -> chance; sums to 1.
    """
    if look == WILD_LOOK:
        return tuple(
            Hidden(locus=locus.key, kind=HiddenKind.HET, genes=(allele.name,), chance=chance)
            for allele in locus.alleles
            if (chance := _carrying(pairs, allele.name))
        )
    if look in locus.by_name:
        return _behind_a_gene(locus, look, pairs)
    if len(locus.states[look]) == 1:
        return ()
    return tuple(
        Hidden(locus=locus.key, kind=HiddenKind.GENOTYPE, genes=pair, chance=pairs[pair])
        for pair in locus.ordered(pairs)
        if pair[1] not in {WILD, ABSENT}
    )


def _behind_a_gene(
    locus: Locus, gene: str, pairs: Mapping[AllelePair, Fraction]
) -> tuple[Hidden, ...]:
    """Behind a look with a gene's own name: a second copy, or another allele beside it."""
    found = []
    twice = pairs.get((gene, gene))
    if twice and locus.by_name[gene].mode is Mode.DOMINANT:
        found.append(Hidden(locus.key, HiddenKind.TWO_COPIES, (gene,), twice))
    for pair in locus.ordered(pairs):
        others = [allele for allele in pair if allele not in {gene, WILD, ABSENT}]
        if len(others) == 1:
            found.append(Hidden(locus.key, HiddenKind.HET, (others[0],), pairs[pair]))
        elif len(others) > 1:
            found.append(Hidden(locus.key, HiddenKind.GENOTYPE, pair, pairs[pair]))
    return tuple(found)


def _carrying(pairs: Mapping[AllelePair, Fraction], allele: str) -> Fraction:
    return sum((chance for pair, chance in pairs.items() if allele in pair), start=Fraction(0))


def n_looks(pairing: Pairing) -> int:
    """Number of different looks of a pairing (sexes counted apart where they differ)."""
    return prod(len(group_looks(pairing, group)) for group in pairing.groups_in_play())


def likeliest_looks(pairing: Pairing) -> Iterator[Look]:
    """Looks by falling chance, one at a time, without the joint table.

    A best-first walk over the product of the groups: the first ``n`` looks cost in the order of
    ``n`` steps however many there are. Ties come in a fixed order.
    """
    groups = pairing.groups_in_play()
    tables = [group_looks(pairing, group) for group in groups]
    start = (0,) * len(groups)
    waiting: list[tuple[Fraction, tuple[int, ...], int]] = [(-_chance(tables, start), start, 0)]
    while waiting:
        _negative, places, last = heapq.heappop(waiting)
        yield _look(pairing.species, groups, tables, places)
        for position in range(last, len(groups)):
            if places[position] + 1 < len(tables[position]):
                after = (*places[:position], places[position] + 1, *places[position + 1 :])
                heapq.heappush(waiting, (-_chance(tables, after), after, position))


def _chance(tables: list[tuple[GroupLook, ...]], places: tuple[int, ...]) -> Fraction:
    return prod(
        (table[place].chance for table, place in zip(tables, places, strict=True)),
        start=Fraction(1),
    )


def _look(
    species: Species,
    groups: tuple[LinkageGroup, ...],
    tables: list[tuple[GroupLook, ...]],
    places: tuple[int, ...],
) -> Look:
    chosen = [table[place] for table, place in zip(tables, places, strict=True)]
    states = [
        (key, look)
        for group, one in zip(groups, chosen, strict=True)
        for key, look in zip(group.loci, one.looks, strict=True)
        if look != WILD_LOOK
    ]
    hidden = [item for one in chosen for item in one.hidden]
    return Look(
        states=tuple(sorted(states, key=lambda item: species.place_of[item[0]])),
        sex=next((one.sex for one in chosen if one.sex is not None), None),
        chance=_chance(tables, places),
        hidden=tuple(sorted(hidden, key=lambda item: species.place_of[item.locus])),
    )
