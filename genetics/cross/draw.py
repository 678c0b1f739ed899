"""Hatchlings drawn at random, for simulations. The generator is always the caller's."""

from __future__ import annotations

from random import Random
from typing import TYPE_CHECKING

from genetics.cross.offspring import Pairing, group_offspring
from genetics.model.species import Sex

if TYPE_CHECKING:
    from genetics.model.belief import HaplotypePair
    from genetics.model.linkage import LinkageGroup
    from genetics.model.locus import AllelePair

TrueParents = dict["LinkageGroup", tuple["HaplotypePair", "HaplotypePair"]]
"""What sire and dam of one pair really carry, by linkage group."""


def drawn_parents(pairing: Pairing, random: Random) -> TrueParents:
    """One of the things that two parents may really carry, by its chance.

    The same parents serve for all clutches of a pair.
    """
    found: TrueParents = {}
    for group in pairing.groups_in_play():
        states = list(pairing.latent_states(group))
        weights = [float(weight) for _sire, _dam, weight in states]
        sire, dam, _weight = random.choices(states, weights=weights)[0]
        found[group] = (sire, dam)
    return found


def drawn_hatchling(
    pairing: Pairing, parents: TrueParents, random: Random
) -> tuple[dict[str, AllelePair], Sex | None]:
    """Genotype by locus of one hatchling, for the groups in play; its sex if that is linked."""
    genotype: dict[str, AllelePair] = {}
    sex: Sex | None = None
    for group, (sire, dam) in parents.items():
        classes = group_offspring(pairing.species, group, sire, dam)
        chances = [float(chance) for _offspring, chance in classes]
        offspring = random.choices([one for one, _chance in classes], weights=chances)[0]
        genotype.update(zip(group.loci, offspring.pairs, strict=True))
        sex = offspring.sex or sex
    return genotype, sex
