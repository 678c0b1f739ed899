"""Targets near a target, as the genetics sees them."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations

from genetics.model.locus import WILD
from genetics.pool.target import MOST_FACTORS, Factor, Target, locus_factors
from registry.catalogue.bridge import LoadedSpecies
from registry.combinations.choices import Relation


@dataclass(frozen=True, slots=True)
class Relative:
    """A related target's key and how it is related."""

    key: str
    relation: Relation


def relatives_of(loaded: LoadedSpecies, target: Target) -> list[Relative]:
    """Parts of a target, and the target with a super form in place of one copy or the reverse."""
    found: dict[str, Relation] = {}
    for size in range(len(target.factors) - 1, 0, -1):
        for part in combinations(target.factors, size):
            found[Target(factors=part).key] = Relation.PART
    for place, factor in enumerate(target.factors):
        for other in _other_forms(loaded, factor):
            changed = (*target.factors[:place], other, *target.factors[place + 1 :])
            if sum(one.n_factors for one in changed) <= MOST_FACTORS:
                found.setdefault(Target(factors=changed).key, Relation.SUPER_FORM)
    return [Relative(key=key, relation=relation) for key, relation in found.items()]


def _other_forms(loaded: LoadedSpecies, factor: Factor) -> list[Factor]:
    """One-copy and two-copy forms of the alleles of a factor, other than itself."""
    locus = loaded.species.by_key[factor.locus]
    alleles = {allele for pair in factor.pairs for allele in pair if allele in locus.by_name}
    forms = {(allele, other) for allele in alleles for other in (allele, WILD)}
    return [one for one in locus_factors(locus) if one != factor and one.pairs & forms]


def factors_stored(target: Target) -> list[list[str]]:
    """Factors in the form of their stored column, to look for targets that contain them."""
    return [[one.locus, one.text, one.look] for one in target.factors]


def is_part_of_names(loaded: LoadedSpecies, text: str) -> bool:
    """Whether every word of a text is a part of what combinations of the species are called."""
    names = [one.text.casefold() for locus in loaded.species.loci for one in locus_factors(locus)]
    return all(any(word in name for name in names) for word in text.casefold().split())
