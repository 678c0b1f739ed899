"""Clutches of the demo species in two forms: as a keeper reports them, and straight to genetics.

The second form goes through nothing of the registry, so that answers over HTTP can be held against
what the genetics says of the same clutches.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

from django.utils import timezone

from genetics.cross.offspring import Pairing
from genetics.evidence.evalue import e_value, target_viability
from genetics.evidence.likelihood import pool_likelihood
from genetics.model.belief import belief_of
from genetics.model.locus import Mode
from genetics.model.species import Sex, Species
from genetics.pool.cells import Call, checked_call
from genetics.pool.pool import FamilyClutch, PoolRow, target_row
from genetics.pool.target import Target
from tests.factories.pairings import stated
from tests.factories.pools import target
from tests.factories.registry import GECKO_FILE, Api, clutch, group, parent
from tests.factories.species import species_from_file

GECKOS: Final = species_from_file(GECKO_FILE)

Pool = list[tuple[Species, Target, Mapping[PoolRow, int]]]


@dataclass(frozen=True)
class Brood:
    """One clutch. Parents in the words of ``stated``; looks of hatchlings as genes with commas.

    ``names`` are the labels of sire and dam; animals without one are known from this clutch only.
    """

    sire: str
    dam: str
    hatchlings: Mapping[str, int]
    died: int | None = None
    declared: bool = False
    names: tuple[str | None, str | None] = (None, None)

    def body(self) -> dict[str, Any]:
        """As a keeper reports it."""
        return clutch(
            parent(in_notation(self.sire), self.names[0]),
            parent(in_notation(self.dam), self.names[1]),
            [group(look.replace(",", "") or "normal", n) for look, n in self.hatchlings.items()],
            season=timezone.now().year,
            **({} if self.died is None else {"eggs": {"died": self.died}}),
        )

    def counted(self, species: Species) -> FamilyClutch:
        """As the genetics takes it."""
        sire, dam = (
            stated(species, said, sex)
            for said, sex in ((self.sire, Sex.MALE), (self.dam, Sex.FEMALE))
        )
        pairing = Pairing(species, belief_of(species, sire), belief_of(species, dam))
        return FamilyClutch(
            pairing=pairing,
            sire=self.names[0],
            dam=self.names[1],
            sire_statement=sire,
            dam_statement=dam,
            calls=tuple(
                checked_call(pairing, Call(readings=(_reading(species, look),), count=n))
                for look, n in self.hatchlings.items()
            ),
            season=None,
            declared=self.declared,
            n_died=self.died,
        )


def _reading(species: Species, look: str) -> dict[str, str]:
    return {
        locus.key: one
        for one in filter(None, look.split(", "))
        for locus in species.loci
        if one in locus.states
    }


def in_notation(said: str) -> str:
    """Parents of ``stated`` as a keeper writes them: first what shows, so that it reads one way."""
    found = []
    for part in filter(None, said.split(", ")):
        gene, possible, chance = part.partition("? ")
        twice, gene = gene.startswith("2 "), gene.removeprefix("2 ")
        hidden = GECKOS.allele(gene).mode is Mode.RECESSIVE
        if possible:
            found.append(f"{ {'2/3': 66, '1/2': 50}[chance] }% het {gene}")
        elif hidden:
            found.append(gene if twice else f"het {gene}")
        else:
            found.append(f"super {gene}" if twice else gene)
    # What shows comes first: a recessive after a het could be meant as another het.
    found.sort(key=lambda words: "het " in words)
    return ", ".join(sorted(found, key=lambda one: "het " in one)) or "normal"


def report(keeper: Api, *broods: Brood) -> list[str]:
    """Report clutches, declaring those first that are said to be; their ids."""
    found = []
    for brood in broods:
        body = brood.body()
        if brood.declared:
            said = {name: body[name] for name in ("species", "season", "sire", "dam")}
            declared = keeper.post("pairings/", said)
            body |= {"sire": None, "dam": None, "pairing": declared["id"]}
        found.append(keeper.post("clutches/", body)["id"])
    return found


def pool_of(
    looks: str, families: Sequence[Brood | Sequence[Brood]], species: Species = GECKOS
) -> Pool:
    """The pool of one target; broods that share an animal are a family given as a sequence."""
    asked = target(species, *looks.split(", "))
    rows: Counter[PoolRow] = Counter()
    for family in families:
        broods = [family] if isinstance(family, Brood) else family
        row = target_row([one.counted(species) for one in broods], asked)
        if row is not None:
            rows[row] += 1
    return [(species, asked, rows)] if rows else []


def e_value_of(pool: Pool) -> float:
    """The e-value of a pool, straight from the genetics."""
    return e_value(pool_likelihood(pool, target_viability(pool[0][1]))).value


def first_on_watch(looks: str, brood: Callable[[int], Brood], *, most: int = 400) -> int:
    """The smallest number for which a clutch made from it has an e-value of 20 or more."""
    for n in range(1, most):
        pool = pool_of(looks, [brood(n)])
        if pool and e_value_of(pool) >= 20:
            return n
    raise AssertionError(f"{looks} never gets on watch")
