"""A species: its sex determination, its loci and how they are linked."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from functools import cached_property

from genetics.errors import SpeciesFaultError
from genetics.model.linkage import Linkage, LinkageGroup, linkage_groups
from genetics.model.locus import Allele, Locus


class Sex(StrEnum):
    """Sex of an animal. A sire is male, a dam female."""

    MALE = "male"
    FEMALE = "female"


class SexSystem(StrEnum):
    """Which sex carries two different sex chromosomes; ``NONE`` if sex has no chromosome."""

    XY = "XY"
    ZW = "ZW"
    NONE = "none"

    @property
    def heterogametic(self) -> Sex | None:
        return {SexSystem.XY: Sex.MALE, SexSystem.ZW: Sex.FEMALE}.get(self)

    def chromosomes(self, sex: Sex) -> tuple[str, str]:
        """Sex chromosomes that an animal has from its sire and from its dam."""
        if self is SexSystem.XY:
            return ("Y", "X") if sex is Sex.MALE else ("X", "X")
        if self is SexSystem.ZW:
            return ("Z", "Z") if sex is Sex.MALE else ("Z", "W")
        raise SpeciesFaultError("A species without sex chromosomes has no sex-linked locus.")

    def sex_of(self, one: str, other: str) -> Sex:
        """Sex of an animal with these two sex chromosomes."""
        heterogametic = self.heterogametic
        if heterogametic is None:
            raise SpeciesFaultError("A species without sex chromosomes has no sex-linked locus.")
        if one != other:
            return heterogametic
        return Sex.FEMALE if heterogametic is Sex.MALE else Sex.MALE


@dataclass(frozen=True, slots=True)
class Nickname:
    """A trade name of a combination.

    A gene listed once is in the form that shows; listed twice, two copies; two genes of one
    locus, one copy of each.
    """

    name: str
    genes: tuple[str, ...]


@dataclass(frozen=True, eq=False)
class Species:
    """What the genetics knows of a species. Compared by identity: one object per catalogue version.

    Raises
    ------
    SpeciesFaultError
        Repeated loci or genes, unknown genes in a nickname, a sex-linked locus in a species
        without sex chromosomes, linkage that does not fit (see ``linkage_groups``).
    """

    key: str
    name: str
    sex_system: SexSystem
    loci: tuple[Locus, ...]
    linkages: tuple[Linkage, ...] = ()
    nicknames: tuple[Nickname, ...] = ()

    def __post_init__(self) -> None:
        keys = [locus.key for locus in self.loci]
        genes = [allele.name for locus in self.loci for allele in locus.alleles]
        for what, names in (("locus", keys), ("gene", genes)):
            repeated = sorted({name for name in names if names.count(name) > 1})
            if repeated:
                raise SpeciesFaultError(f"The {self.name} has the {what} {repeated[0]} twice.")
        if self.sex_system is SexSystem.NONE:
            linked = [locus.key for locus in self.loci if locus.sex_linkage is not None]
            if linked:
                raise SpeciesFaultError(
                    f"The locus {linked[0]} is sex-linked, but the {self.name} has no sex "
                    "chromosomes in this file."
                )
        for nickname in self.nicknames:
            unknown = [gene for gene in nickname.genes if gene not in self.locus_of]
            if unknown or not nickname.genes:
                raise SpeciesFaultError(
                    f"The nickname {nickname.name} needs genes of the {self.name}, "
                    f"not {list(nickname.genes)}."
                )
        linkage_groups(self.loci, self.linkages)

    @cached_property
    def by_key(self) -> Mapping[str, Locus]:
        return {locus.key: locus for locus in self.loci}

    @cached_property
    def locus_of(self) -> Mapping[str, Locus]:
        """Gene name -> its locus."""
        return {allele.name: locus for locus in self.loci for allele in locus.alleles}

    def allele(self, gene: str) -> Allele:
        """The allele of a gene name as the catalogue spells it."""
        return self.locus_of[gene].by_name[gene]

    @cached_property
    def groups(self) -> tuple[LinkageGroup, ...]:
        return linkage_groups(self.loci, self.linkages)

    @cached_property
    def group_of(self) -> Mapping[str, LinkageGroup]:
        """Locus key -> its linkage group."""
        return {key: group for group in self.groups for key in group.loci}

    @cached_property
    def place_of(self) -> Mapping[str, int]:
        """Locus key -> its place in the species file, the order in which everything is written."""
        return {locus.key: position for position, locus in enumerate(self.loci)}
