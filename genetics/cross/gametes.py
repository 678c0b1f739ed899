"""Gametes of one parent for one linkage group."""

from __future__ import annotations

from fractions import Fraction
from functools import lru_cache
from typing import TYPE_CHECKING

from genetics.model.linkage import HALF

if TYPE_CHECKING:
    from genetics.model.belief import Haplotype, HaplotypePair
    from genetics.model.linkage import LinkageGroup

Gametes = tuple[tuple["Haplotype", Fraction], ...]


@lru_cache(maxsize=16384)
def gametes(group: LinkageGroup, haplotypes: HaplotypePair) -> Gametes:
    """Haplotypes that a parent passes on, each once, with its exact chance.

    Walks along the chromosome: starts on either strand with chance 1/2 and changes strand in
    each gap with that gap's recombination fraction. The chances sum to 1.
    """
    gaps = group.fractions if group.is_sex_group else group.fractions[1:]
    strands: dict[tuple[int, Haplotype], Fraction] = {
        (strand, (haplotypes[strand][0],)): HALF for strand in (0, 1)
    }
    for position, fraction in enumerate(gaps, start=1):
        longer: dict[tuple[int, Haplotype], Fraction] = {}
        for (strand, passed), chance in strands.items():
            for after, weight in ((strand, 1 - fraction), (1 - strand, fraction)):
                if weight:
                    key = (after, (*passed, haplotypes[after][position]))
                    longer[key] = longer.get(key, Fraction(0)) + chance * weight
        strands = longer
    found: dict[Haplotype, Fraction] = {}
    for (_strand, passed), chance in strands.items():
        found[passed] = found.get(passed, Fraction(0)) + chance
    return tuple(sorted(found.items()))
