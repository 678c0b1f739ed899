"""One locus: its alleles, how each shows, and the look of every genotype there."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from enum import StrEnum
from fractions import Fraction
from functools import cached_property
from itertools import combinations_with_replacement

from genetics.errors import SpeciesFaultError

WILD = "+"
"""The wild type allele, present at every locus; the sign is the one genetics uses."""

ABSENT = "-"
"""No copy: the place of a strictly X- or Z-linked locus on the Y or W chromosome."""

WILD_LOOK = ""
"""The look of a locus at which nothing shows."""

AllelePair = tuple[str, str]
"""Two alleles of one locus in the locus's own order, wild type and the missing copy last."""


class Mode(StrEnum):
    """How an allele shows beside the wild type."""

    RECESSIVE = "recessive"
    INCOMPLETE_DOMINANT = "incomplete-dominant"
    DOMINANT = "dominant"


@dataclass(frozen=True, slots=True)
class Allele:
    """An allele other than the wild type, known by its gene name in the trade.

    ``super_names`` are trade names of the two-copy form; only an incomplete dominant has one.
    """

    name: str
    mode: Mode
    aliases: tuple[str, ...] = ()
    super_names: tuple[str, ...] = ()

    @property
    def shows_in_one_copy(self) -> bool:
        return self.mode is not Mode.RECESSIVE


@dataclass(frozen=True, slots=True)
class Compound:
    """Two different alleles of one series in one animal.

    ``look`` is the wording of what is seen; the same wording at one locus is the same visible
    state. ``None`` means a state of its own, named by its two genes.
    """

    alleles: tuple[str, str]
    look: str | None


@dataclass(frozen=True, slots=True)
class SexLinkage:
    """Place on the sex chromosomes.

    ``recombination_fraction`` (0 to 1/2) is to the sex-determining region. Without a
    ``heterogametic_copy`` the Y or W carries nothing at this locus, and the fraction is 0.
    """

    recombination_fraction: Fraction
    heterogametic_copy: bool = True


@dataclass(frozen=True, eq=False)
class Locus:
    """A locus with one allele or more beside the wild type.

    Raises
    ------
    SpeciesFaultError
        Repeated alleles, a compound of unknown or equal alleles, a super name on an allele
        that has no super form, a recombination fraction outside 0 to 1/2.
    """

    key: str
    alleles: tuple[Allele, ...]
    compounds: tuple[Compound, ...] = ()
    sex_linkage: SexLinkage | None = None

    def __post_init__(self) -> None:
        names = [allele.name for allele in self.alleles]
        if not names or len(set(names)) != len(names) or {WILD, ABSENT} & set(names):
            raise SpeciesFaultError(
                f"The locus {self.key} needs one or more different alleles beside the wild type, "
                f"not {names}.",
                locus=self.key,
            )
        for allele in self.alleles:
            if allele.super_names and allele.mode is not Mode.INCOMPLETE_DOMINANT:
                raise SpeciesFaultError(
                    f"{allele.name} is {allele.mode} and can have no name for a super form.",
                    locus=self.key,
                )
        for compound in self.compounds:
            if len(set(compound.alleles)) != 2 or not set(compound.alleles) <= set(names):  # noqa: PLR2004
                raise SpeciesFaultError(
                    f"A compound at {self.key} needs two different alleles of this locus, "
                    f"not {compound.alleles}.",
                    locus=self.key,
                )
        self._check_sex_linkage()

    def _check_sex_linkage(self) -> None:
        linkage = self.sex_linkage
        if linkage is None:
            return
        if not 0 <= linkage.recombination_fraction <= Fraction(1, 2):
            raise SpeciesFaultError(
                f"The recombination fraction at {self.key} must lie from 0 to 1/2, "
                f"not at {linkage.recombination_fraction}.",
                locus=self.key,
            )
        if not linkage.heterogametic_copy and linkage.recombination_fraction:
            raise SpeciesFaultError(
                f"{self.key} has no copy on the Y or W, so it can not recombine with the "
                "sex-determining region: its recombination fraction must be 0.",
                locus=self.key,
            )

    @cached_property
    def rank(self) -> Mapping[str, int]:
        """Order of the alleles: as in the species file, then wild type, then the missing copy."""
        names = [*(allele.name for allele in self.alleles), WILD, ABSENT]
        return {name: position for position, name in enumerate(names)}

    @cached_property
    def by_name(self) -> Mapping[str, Allele]:
        return {allele.name: allele for allele in self.alleles}

    @cached_property
    def _compound_looks(self) -> Mapping[AllelePair, str]:
        return {
            self.pair(*compound.alleles): compound.look
            for compound in self.compounds
            if compound.look
        }

    def pair(self, one: str, other: str) -> AllelePair:
        """The two alleles in the locus's order. ``KeyError`` for an allele of another locus."""
        return (one, other) if self.rank[one] <= self.rank[other] else (other, one)

    @cached_property
    def pairs(self) -> tuple[AllelePair, ...]:
        """Every genotype with two copies, all-wild last."""
        names = [*(allele.name for allele in self.alleles), WILD]
        return tuple(combinations_with_replacement(names, 2))

    @cached_property
    def single_copies(self) -> tuple[AllelePair, ...]:
        """Every genotype with one copy, for a locus with none on the Y or W; else empty."""
        if self.sex_linkage is None or self.sex_linkage.heterogametic_copy:
            return ()
        return tuple((name, ABSENT) for name in [*(a.name for a in self.alleles), WILD])

    def look(self, pair: AllelePair) -> str:
        """The wording of what a genotype shows here; ``""`` for the wild type look.

        Looked up from the species file. A pair of different alleles that the file does not list
        is a state of its own, named by its two genes: its look is not guessed. A single copy
        with none on the other chromosome shows, as for every hemizygous gene.
        """
        first, second = pair
        if first == WILD:
            return WILD_LOOK
        allele = self.by_name[first]
        if second == ABSENT:
            return first
        if second == WILD:
            return first if allele.shows_in_one_copy else WILD_LOOK
        if first != second:
            return self._compound_looks.get(pair, f"{first} {second}")
        if allele.mode is Mode.INCOMPLETE_DOMINANT:
            return self.super_look(first)
        return first

    def super_look(self, allele: str) -> str:
        """Wording of the two-copy form of an incomplete dominant: its trade name, if it has one."""
        names = self.by_name[allele].super_names
        return names[0] if names else f"Super {allele}"

    @cached_property
    def states(self) -> Mapping[str, frozenset[AllelePair]]:
        """Visible state -> the genotypes that show it; the wild type look included."""
        found: dict[str, set[AllelePair]] = {}
        for pair in (*self.pairs, *self.single_copies):
            found.setdefault(self.look(pair), set()).add(pair)
        return {look: frozenset(pairs) for look, pairs in found.items()}

    def ordered(self, pairs: Iterable[AllelePair]) -> list[AllelePair]:
        """Genotypes in the locus's order."""
        return sorted(pairs, key=lambda pair: (self.rank[pair[0]], self.rank[pair[1]]))
