"""A simulated community: many keepers, many genes, two combinations that are really short.

40 keepers with ten animals each report 400 clutches of an invented species with 14 loci. Animals
with gloam and sorrel die in the egg; nine in ten of those with cinder and thaw are called cinder.
Either pair is tried in about 30 of the clutches, on all sorts of backgrounds. 12 % of the animals
lack a gene that they are said to have, and so does one popular sire that ten keepers use, each
under a label of their own.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from genetics.cross.offspring import Pairing
from genetics.model.belief import ParentStatement, belief_of
from genetics.model.locus import WILD, Allele, Locus, Mode
from genetics.model.species import Sex, SexSystem, Species
from genetics.model.statement import StatedLocus, stated_genes
from genetics.pool.cells import Call, checked_call
from genetics.pool.pool import FamilyClutch

MODES = {
    "gloam": Mode.INCOMPLETE_DOMINANT,
    "sorrel": Mode.INCOMPLETE_DOMINANT,
    "cinder": Mode.INCOMPLETE_DOMINANT,
    "thaw": Mode.INCOMPLETE_DOMINANT,
    "lichen": Mode.INCOMPLETE_DOMINANT,
    "quartz": Mode.INCOMPLETE_DOMINANT,
    "bramble": Mode.INCOMPLETE_DOMINANT,
    "ember": Mode.INCOMPLETE_DOMINANT,
    "drizzle": Mode.INCOMPLETE_DOMINANT,
    "hazel": Mode.DOMINANT,
    "flint": Mode.DOMINANT,
    "ash": Mode.RECESSIVE,
    "ivory": Mode.RECESSIVE,
    "umber": Mode.RECESSIVE,
}
POPULARITY = {
    "gloam": 3.0, "sorrel": 3.0, "cinder": 3.0, "thaw": 3.0, "lichen": 2.0, "quartz": 1.5,
    "ember": 1.5, "ash": 1.5,
}  # fmt: skip
"""How often a gene is bred beside the others, which have 1."""

LETHAL = ("gloam", "sorrel")
LOOK_ALIKE = ("cinder", "thaw")
POPULAR_SIRE = ("lichen", "quartz")
"""What the popular sire is said to have; the second gene is not there."""

N_KEEPERS, CLUTCHES_EACH = 40, 10
N_SIRES, N_DAMS = 3, 7
KEEPERS_OF_POPULAR_SIRE = 10
MISLABELLED, MISTAKEN = 0.12, 0.9
EGGS_COUNTED = 0.6
RANDOM_GENES = {1: 0.3, 2: 0.5, 3: 0.2}


def species() -> Species:
    """The invented species: 14 unlinked loci of one gene each, named alike."""
    loci = tuple(Locus(gene, (Allele(gene, mode),)) for gene, mode in MODES.items())
    return Species("dusk-newt", "dusk newt", SexSystem.NONE, loci)


@dataclass(frozen=True, eq=False)
class Animal:
    """A keeper's animal: copies of each gene as stated, and as they are."""

    stated: dict[str, int]
    real: dict[str, int]
    statement: ParentStatement


@dataclass(frozen=True, eq=False)
class ReportedFamily:
    """The clutches of one keeper that hang together by shared animals."""

    keeper: int
    clutches: tuple[FamilyClutch, ...]


def community(dusk_newt: Species, *, seed: int, is_mendel: bool = False) -> list[ReportedFamily]:
    """All families of one simulated community; if ``is_mendel``, nothing in it is short."""
    rng = np.random.default_rng(seed)
    found = []
    for keeper in range(N_KEEPERS):
        sires = [_animal(rng, dusk_newt, Sex.MALE) for _one in range(N_SIRES)]
        dams = [_animal(rng, dusk_newt, Sex.FEMALE) for _one in range(N_DAMS)]
        if keeper < KEEPERS_OF_POPULAR_SIRE:
            sires[0] = _popular_sire(dusk_newt)
        clutches = []
        for number in range(CLUTCHES_EACH):
            sire = int(rng.integers(N_SIRES))
            clutches.append(
                _clutch(
                    rng,
                    dusk_newt,
                    (sires[sire], sire),
                    (dams[number % N_DAMS], number),
                    is_mendel=is_mendel,
                )
            )
        found += [ReportedFamily(keeper, family) for family in _families(clutches)]
    return found


def _animal(rng: np.random.Generator, dusk_newt: Species, sex: Sex) -> Animal:
    weights = np.array([POPULARITY.get(gene, 1.0) for gene in MODES])
    n_genes = rng.choice(list(RANDOM_GENES), p=list(RANDOM_GENES.values()))
    while True:
        genes = [
            str(gene)
            for gene in rng.choice(
                list(MODES), size=n_genes, replace=False, p=weights / weights.sum()
            )
        ]
        # No animal has both genes of a short pair: there are none, or they go by another name.
        if not (set(LETHAL) <= set(genes) or set(LOOK_ALIKE) <= set(genes)):
            break
    stated = {
        gene: 2 if MODES[gene] is Mode.RECESSIVE and rng.random() < 0.5 else 1 for gene in genes
    }
    real = dict(stated)
    if rng.random() < MISLABELLED:
        del real[genes[rng.integers(len(genes))]]
    return Animal(stated, real, _statement(dusk_newt, stated, sex))


def _popular_sire(dusk_newt: Species) -> Animal:
    stated = dict.fromkeys(POPULAR_SIRE, 1)
    real = {POPULAR_SIRE[0]: 1}
    return Animal(stated, real, _statement(dusk_newt, stated, Sex.MALE))


def _statement(dusk_newt: Species, stated: dict[str, int], sex: Sex) -> ParentStatement:
    loci = {gene: StatedLocus(certain=(gene,) * copies) for gene, copies in stated.items()}
    return ParentStatement(stated_genes(dusk_newt, loci), sex)


def _clutch(
    rng: np.random.Generator,
    dusk_newt: Species,
    sire: tuple[Animal, int],
    dam: tuple[Animal, int],
    *,
    is_mendel: bool,
) -> FamilyClutch:
    size = max(1, round(rng.normal(6, 1.5)))
    loss = rng.beta(1, 9)
    looks: Counter[tuple[tuple[str, str], ...]] = Counter()
    died = 0
    while looks.total() < size:
        copies = {
            gene: int(_gamete(rng, sire[0], gene) + _gamete(rng, dam[0], gene)) for gene in MODES
        }
        dies = not is_mendel and all(copies[gene] for gene in LETHAL)
        if rng.random() < loss or dies:
            died += 1
            continue
        mistaken = not is_mendel and all(copies[gene] for gene in LOOK_ALIKE)
        if mistaken and rng.random() < MISTAKEN:
            copies[LOOK_ALIKE[1]] = 0
        looks[tuple(_looks(dusk_newt, copies))] += 1
    pairing = _pairing(dusk_newt, sire[0].statement, dam[0].statement)
    return FamilyClutch(
        pairing=pairing,
        sire=sire[1],
        dam=dam[1] % N_DAMS,
        sire_statement=sire[0].statement,
        dam_statement=dam[0].statement,
        calls=tuple(
            checked_call(pairing, Call(readings=(dict(look),), count=n))
            for look, n in looks.items()
        ),
        season=2020 + dam[1] // N_DAMS,
        n_died=died if rng.random() < EGGS_COUNTED else None,
    )


def _gamete(rng: np.random.Generator, animal: Animal, gene: str) -> bool:
    copies = animal.real.get(gene, 0)
    return bool(copies == 2 or (copies == 1 and rng.random() < 0.5))


def _looks(dusk_newt: Species, copies: dict[str, int]) -> Iterator[tuple[str, str]]:
    for gene, n in copies.items():
        locus = dusk_newt.by_key[gene]
        look = locus.look(locus.pair(*((gene,) * n + (WILD, WILD))[:2]))
        if look:
            yield gene, look


def _pairing(dusk_newt: Species, sire: ParentStatement, dam: ParentStatement) -> Pairing:
    return Pairing(dusk_newt, belief_of(dusk_newt, sire), belief_of(dusk_newt, dam))


def _families(clutches: list[FamilyClutch]) -> list[tuple[FamilyClutch, ...]]:
    """Clutches that share an animal, directly or by way of others."""
    found: list[list[FamilyClutch]] = []
    for clutch in clutches:
        related = [
            family
            for family in found
            if any(one.sire == clutch.sire or one.dam == clutch.dam for one in family)
        ]
        merged = [clutch, *(one for family in related for one in family)]
        found = [family for family in found if family not in related] + [merged]
    return [tuple(family) for family in found]
