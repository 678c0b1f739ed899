"""What is stated of an animal's genes: which alleles are certain, which only possible."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from typing import TYPE_CHECKING

from genetics.errors import (
    ChanceOutOfRangeError,
    ContradictoryStatementError,
    TooManyAllelesError,
)
from genetics.model.locus import WILD, AllelePair

if TYPE_CHECKING:
    from genetics.model.genotype import Genotype
    from genetics.model.species import Species

COPIES = 2


@dataclass(frozen=True, slots=True)
class StatedLocus:
    """What is stated at one locus.

    ``certain`` holds 0 to 2 alleles that the animal has; ``possible`` holds (allele, chance)
    for an allele it may carry besides, with the chance strictly between 0 and 1, or ``None`` when
    a possible het was stated without its number. What is neither is wild type.
    """

    certain: tuple[str, ...] = ()
    possible: tuple[tuple[str, Fraction | None], ...] = ()

    @property
    def alleles(self) -> tuple[str, ...]:
        """Every allele named, certain ones first."""
        return (*self.certain, *(allele for allele, _chance in self.possible))

    @property
    def is_certain(self) -> bool:
        return not self.possible


@dataclass(frozen=True, slots=True)
class StatedGenes:
    """Statements by locus, in the order of the species file; wild type where nothing is said.

    Build it with ``stated_genes``, which checks it.
    """

    loci: tuple[tuple[str, StatedLocus], ...] = ()

    def at(self, locus: str) -> StatedLocus:
        return dict(self.loci).get(locus, StatedLocus())

    @property
    def is_certain(self) -> bool:
        return all(stated.is_certain for _locus, stated in self.loci)

    @property
    def genes(self) -> tuple[str, ...]:
        """Every gene named, once each, in order."""
        named = (allele for _locus, stated in self.loci for allele in stated.alleles)
        return tuple(dict.fromkeys(named))

    def genotype_pairs(self, species: Species) -> dict[str, AllelePair]:
        """The certain alleles of each stated locus, the rest wild type."""
        return {
            key: species.by_key[key].pair(*_padded(stated.certain)) for key, stated in self.loci
        }


def _padded(alleles: tuple[str, ...]) -> tuple[str, str]:
    one, other = (*alleles, WILD, WILD)[:COPIES]
    return one, other


def stated_genes(species: Species, loci: Mapping[str, StatedLocus]) -> StatedGenes:
    """Statements put in the order of the species file and checked.

    Raises
    ------
    TooManyAllelesError
        More than two alleles at a locus.
    ChanceOutOfRangeError
        A possible allele whose chance does not lie strictly between 0 and 1.
    ContradictoryStatementError
        One allele both certain in two copies and possible, or possible twice.
    """
    found = []
    for locus in species.loci:
        stated = loci.get(locus.key)
        if stated is None or not stated.alleles:
            continue
        if len(stated.alleles) > COPIES:
            raise TooManyAllelesError(locus=locus.key, genes=stated.alleles)
        for allele, chance in stated.possible:
            if chance is not None and not 0 < chance < 1:
                raise ChanceOutOfRangeError(
                    f"The chance of a possible het {allele} must lie between 0 and 1 (0 % and "
                    f"100 %), not at {chance}.",
                    gene=allele,
                    chance=chance,
                )
            if stated.alleles.count(allele) > 1:
                raise ContradictoryStatementError(
                    f"{allele} is stated twice: say either what the animal has or what it may "
                    "carry.",
                    gene=allele,
                )
        rank = locus.rank
        certain = tuple(sorted(stated.certain, key=rank.__getitem__))
        possible = tuple(sorted(stated.possible, key=lambda item: rank[item[0]]))
        found.append((locus.key, StatedLocus(certain=certain, possible=possible)))
    return StatedGenes(loci=tuple(found))


def stated_from_genotype(genotype: Genotype) -> StatedGenes:
    """The statement that says exactly this genotype."""
    return StatedGenes(
        loci=tuple(
            (key, StatedLocus(certain=tuple(allele for allele in pair if allele != WILD)))
            for key, pair in genotype.pairs
        )
    )
