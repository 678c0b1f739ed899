"""A genotype: at most two alleles a locus."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from genetics.model.locus import WILD, AllelePair
from genetics.model.species import Species

WILD_PAIR: AllelePair = (WILD, WILD)


@dataclass(frozen=True, slots=True)
class Genotype:
    """The alleles of one animal, for the loci at which it is not wild type.

    ``pairs`` holds (locus key, pair) in the order of the species file, so equal genotypes are
    equal values.
    """

    pairs: tuple[tuple[str, AllelePair], ...] = ()

    def at(self, locus: str) -> AllelePair:
        """The two alleles at a locus; wild type where nothing is said."""
        return dict(self.pairs).get(locus, WILD_PAIR)


def genotype_of(species: Species, pairs: Mapping[str, Iterable[str]]) -> Genotype:
    """A genotype from locus key -> two alleles in any order."""
    found = []
    for locus in species.loci:
        if locus.key in pairs:
            pair = locus.pair(*pairs[locus.key])
            if pair != WILD_PAIR:
                found.append((locus.key, pair))
    return Genotype(pairs=tuple(found))
