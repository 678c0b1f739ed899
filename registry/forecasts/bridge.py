"""A forecast, as the genetics gives it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from itertools import islice

from genetics.cross.forecast import Look, likeliest_looks, n_looks
from genetics.cross.offspring import ChanceLaw, Pairing, Wanted, chance_law, mean_chance
from genetics.evidence.waiting import at_least_one, hatchlings_for
from genetics.model.locus import WILD, WILD_LOOK
from genetics.model.statement import StatedGenes
from genetics.notation.looks import LocusLook, ReadLook
from genetics.notation.writer import canonical_look
from registry.catalogue.bridge import (
    Caution,
    LoadedSpecies,
    OtherNames,
    cautions_of_pairing,
    cautions_of_wanted,
    look_read,
)
from registry.forecasts.choices import LEVELS


@dataclass(frozen=True, slots=True)
class LookAnswer:
    """A look with its text."""

    text: str
    look: Look


@dataclass(frozen=True, slots=True)
class WantedAnswer:
    """What can be said of one wanted combination.

    ``ever`` is the chance that the parents can give it at all; ``at_least_one`` None without a
    clutch size; a wait is None where no number of hatchlings is enough.
    """

    text: str
    chance: Fraction
    ever: Fraction
    at_least_one: Fraction | None
    hatchlings_for: Mapping[int, int | None]
    cautions: tuple[Caution, ...]


@dataclass(frozen=True, slots=True)
class Forecast:
    """Looks, likeliest first, as many as asked for; how many there are; and the cautions."""

    looks: tuple[LookAnswer, ...]
    n_looks: int
    chance_listed: Fraction
    cautions: tuple[tuple[Caution, Fraction], ...]


def forecast_of(loaded: LoadedSpecies, pairing: Pairing, *, most_looks: int) -> Forecast:
    """What a pairing can give; the joint table is never enumerated."""
    looks = tuple(
        LookAnswer(text=_look_text(loaded, look), look=look)
        for look in islice(likeliest_looks(pairing), most_looks)
    )
    return Forecast(
        looks=looks,
        n_looks=n_looks(pairing),
        chance_listed=sum((one.look.chance for one in looks), start=Fraction(0)),
        cautions=tuple(cautions_of_pairing(loaded, pairing)),
    )


def _look_text(loaded: LoadedSpecies, look: Look) -> str:
    states = tuple(
        LocusLook(key, loaded.species.by_key[key].states[wording], wording)
        for key, wording in look.states
    )
    return canonical_look(loaded.species, ReadLook(looks=states, hets=StatedGenes()))


def wanted_read(loaded: LoadedSpecies, text: str, others: OtherNames) -> tuple[str, Wanted | None]:
    """Canonical text of a wanted combination and the genotypes that count.

    What shows may stand on any background; a het asked for is one copy that does not show. None
    stands for a hatchling that looks normal throughout.
    """
    look = look_read(loaded, text, others)
    wanted = {one.locus: one.pairs for one in look.looks}
    for key, stated in look.hets.loci:
        locus = loaded.species.by_key[key]
        having = [pair for pair in locus.pairs if all(gene in pair for gene in stated.alleles)]
        hidden = frozenset(pair for pair in having if pair[1] == WILD)
        wanted[key] = wanted.get(key, hidden or frozenset(having))
    return canonical_look(loaded.species, look), wanted or None


def wanted_answer(
    loaded: LoadedSpecies,
    pairing: Pairing,
    text: str,
    wanted: Wanted | None,
    *,
    clutch_size: int | None,
) -> WantedAnswer:
    """Chance of one hatchling, of at least one in a clutch, and the hatchlings needed.

    A clutch shares its parents, so what they may carry is mixed over the whole clutch.
    """
    cautions = cautions_of_wanted(loaded, wanted or {})
    if wanted is None:
        species = pairing.species
        wanted = {
            key: species.by_key[key].states[WILD_LOOK]
            for group in pairing.groups_in_play()
            for key in group.loci
        }
    law: ChanceLaw = chance_law(pairing, wanted)
    return WantedAnswer(
        text=text,
        chance=mean_chance(law),
        ever=sum((weight for chance, weight in law.items() if chance), start=Fraction(0)),
        at_least_one=None if clutch_size is None else at_least_one(law, clutch_size),
        hatchlings_for={level: hatchlings_for(law, Fraction(level, 100)) for level in LEVELS},
        cautions=tuple(cautions),
    )
