"""A simulated community of keepers of an invented species, as bodies of reports.

Invented from end to end: which combination dies, what is mistaken for what, who is mislabelled.
Seeded, so that the same seed gives the same community.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from random import Random
from typing import Any

from genetics.cross.draw import TrueParents, drawn_hatchling, drawn_parents
from genetics.cross.offspring import Pairing
from genetics.model.locus import WILD_LOOK, AllelePair
from genetics.model.statement import StatedGenes
from genetics.notation.looks import LocusLook, ReadLook
from genetics.notation.writer import canonical_look
from registry.catalogue.bridge import LoadedSpecies, OtherNames
from registry.pairings.bridge.parents import pairing_of, parent_read

DEMO_SPECIES = "marsh-lantern-gecko"

LETHAL_LOOKS = frozenset({"Ashwater", "Quillback"})
"""Hatchlings that would show both die in the egg: the invented incompatible pair."""

MISTAKEN = (frozenset({"Pale Reed", "Copperlatch"}), "Copperlatch", 0.9)
"""Hatchlings that show these are called by the second alone, nine times in ten."""

MISLABELLED = "het Turfcoat"
"""What the popular sire is said to be, and is not; he belongs to the first keeper."""

PAIRS: tuple[tuple[str, str], ...] = (
    ("het Ashwater het Quillback", "het Ashwater het Quillback"),
    ("Ashwater het Quillback", "Quillback het Ashwater"),
    ("Copperlatch het Pale Reed", "Pale Reed"),
    ("Copperlatch het Pale Reed", "Tidemark het Pale Reed"),
    ("Tidemark het Ashwater", "Tidemark 66% het Ashwater"),
    ("Brackish het Sedge Ladder", "Saltgrass het Sedge Ladder"),
    ("Wickglow het Quillback", "Mistveil het Quillback"),
    (MISLABELLED, "het Turfcoat"),
)
MEAN_EGGS = 6
N_SEASONS = 6
LAST_SEASON = 2025
"""Where nobody says another one, so that the same seed gives the same community in any year."""
OTHER_LOSSES = 0.1
"""Chance that an egg is infertile or dies for reasons that have nothing to do with genes."""


@dataclass(frozen=True, slots=True)
class _Pair:
    keeper: int
    sire: dict[str, Any]
    dam: dict[str, Any]
    pairing: Pairing
    truth: TrueParents


def community_clutches(
    loaded: LoadedSpecies,
    others: OtherNames,
    *,
    n_keepers: int,
    n_clutches: int,
    seed: int,
    last_season: int = LAST_SEASON,
) -> Iterator[tuple[int, dict[str, Any]]]:
    """(keeper's number, body of a report), one clutch at a time, in no order of seasons."""
    random = Random(seed)  # noqa: S311 - a simulation, no secret
    pairs = [
        _pair(loaded, others, number % n_keepers, number, random)
        for number in range(max(n_keepers, n_clutches // 3))
    ]
    for _number in range(n_clutches):
        pair = random.choice(pairs)
        yield pair.keeper, _clutch(loaded, pair, last_season, random)


def _pair(
    loaded: LoadedSpecies, others: OtherNames, keeper: int, number: int, random: Random
) -> _Pair:
    sire_genes, dam_genes = PAIRS[random.randrange(len(PAIRS))]
    is_popular = sire_genes == MISLABELLED
    true_sire = "normal" if is_popular else sire_genes
    keeper = 0 if is_popular else keeper
    sire = {"genes": sire_genes, "animal": "popular sire" if is_popular else f"sire {number}"}
    dam = {"genes": dam_genes, "animal": f"dam {number}"}
    pairing = pairing_of(
        loaded,
        parent_read(loaded, "sire", {"genes": true_sire}, others),
        parent_read(loaded, "dam", {"genes": dam_genes}, others),
    )
    return _Pair(keeper, sire, dam, pairing, drawn_parents(pairing, random))


def _clutch(loaded: LoadedSpecies, pair: _Pair, last_season: int, random: Random) -> dict[str, Any]:
    laid = max(2, round(random.gauss(MEAN_EGGS, 1.5)))
    infertile = died = 0
    calls: Counter[str] = Counter()
    for _egg in range(laid):
        genotype, _sex = drawn_hatchling(pair.pairing, pair.truth, random)
        looks = _looks(loaded, genotype)
        if random.random() < OTHER_LOSSES:
            infertile += 1
        elif frozenset(looks.values()) >= LETHAL_LOOKS:
            died += 1
        else:
            calls[_call(loaded, looks, random)] += 1
    return {
        "species": loaded.key,
        "season": last_season + 1 - N_SEASONS + random.randrange(N_SEASONS),
        "sire": pair.sire,
        "dam": pair.dam,
        "eggs": {"laid": laid, "infertile": infertile, "died": died},
        "hatchlings": [{"call": call, "count": count} for call, count in sorted(calls.items())],
    }


def _looks(loaded: LoadedSpecies, genotype: Mapping[str, AllelePair]) -> dict[str, str]:
    looks = {key: loaded.species.by_key[key].look(pair) for key, pair in genotype.items()}
    return {key: look for key, look in looks.items() if look != WILD_LOOK}


def _call(loaded: LoadedSpecies, looks: Mapping[str, str], random: Random) -> str:
    shown, called, chance = MISTAKEN
    if shown <= frozenset(looks.values()) and random.random() < chance:
        looks = {key: look for key, look in looks.items() if look not in shown or look == called}
    ordered = sorted(looks.items(), key=lambda item: loaded.species.place_of[item[0]])
    states = tuple(
        LocusLook(key, loaded.species.by_key[key].states[look], look) for key, look in ordered
    )
    return canonical_look(loaded.species, ReadLook(looks=states, hets=StatedGenes()))
