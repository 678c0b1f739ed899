"""Writes of animals and pairings."""

from __future__ import annotations

import json
import uuid
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

from django.db import connection, transaction

from registry.catalogue.bridge import LoadedSpecies
from registry.catalogue.selectors import names_elsewhere, species_loaded
from registry.errors import ContradictionError, UnknownTokenError, at, gathered
from registry.keepers.models import Keeper
from registry.keepers.services import keeper_lock
from registry.pairings.bridge.parents import ReadParent, informed_keys, parent_read, parent_text
from registry.pairings.bridge.shown import at_odds
from registry.pairings.bridge.stored import statement_to_json
from registry.pairings.choices import BreedingStatus
from registry.pairings.models import AnimalStatus, Pairing
from registry.pairings.seasons import season_checked
from registry.pairings.selectors import shown_of


@dataclass(frozen=True, slots=True)
class StatedAnimal:
    """An animal as a body names it: its keeper's label, if any, and what is stated of it."""

    label: str | None
    statement: ReadParent

    @property
    def sex(self) -> str:
        """``male`` or ``female``."""
        return str(self.statement.sex)


_KEEP_ANIMALS: Final = """
WITH keeper AS (
    SELECT id FROM keepers_keeper WHERE id = %(keeper)s FOR NO KEY UPDATE
)
INSERT INTO pairings_animal AS a (id, keeper_id, species_id, label, sex, genes)
SELECT named.id, keeper.id, %(species)s, named.label, named.sex, named.genes
FROM keeper, unnest(%(ids)s::uuid[], %(labels)s::text[], %(sexes)s::text[], %(genes)s::text[])
    AS named (id, label, sex, genes)
ORDER BY named.label
ON CONFLICT (keeper_id, species_id, label) DO UPDATE SET genes = EXCLUDED.genes
RETURNING a.label, a.id, a.sex
"""
"""Lock the keeper as ``keeper_lock`` does, then find or add its animals."""


def animals_keep(
    keeper_id: uuid.UUID, loaded: LoadedSpecies, animals: Mapping[str, StatedAnimal]
) -> dict[str, uuid.UUID | None]:
    """Find or add the labelled animals of a keeper; role -> id, None for one without a label.

    Two statements, inside the caller's transaction; after the first the keeper is locked.

    Raises
    ------
    FieldsError
        A label that this keeper uses for an animal of the other sex, or for both parents; genes
        that breeding has shown to be otherwise.
    UnknownTokenError
        The keeper left in the meantime.
    """
    labelled = {role: one for role, one in animals.items() if one.label}
    if not labelled:
        keeper_lock(keeper_id)
        return dict.fromkeys(animals)
    labels = [one.label for one in labelled.values()]
    if len(set(labels)) < len(labels):
        with at("dam", "animal"):
            raise ContradictionError(
                f"{labels[0]!r} is named as sire and as dam; they are two animals.",
                animal=labels[0],
            )
    with connection.cursor() as cursor:
        cursor.execute(
            _KEEP_ANIMALS,
            {
                "keeper": keeper_id,
                "species": loaded.key,
                "ids": [uuid.uuid4() for _one in labelled],
                "labels": labels,
                "sexes": [one.sex for one in labelled.values()],
                "genes": [parent_text(loaded, one.statement) for one in labelled.values()],
            },
        )
        found = {label: (animal, sex) for label, animal, sex in cursor.fetchall()}
    if not found:
        raise UnknownTokenError("The token belongs to no keeper.")
    shown = shown_of([animal for animal, _sex in found.values()])
    with gathered() as faults:
        for role, one in labelled.items():
            animal, sex = found[one.label or ""]
            with faults.at(role, "animal"):
                animal_sex_checked(one.label, one.sex, sex)
            with faults.at(role, "genes"):
                _breeding_checked(loaded, one, shown.get(animal, {}))
            with faults.at(role, "unproven"):
                _proof_checked(one, shown.get(animal, {}))
    return {role: found[one.label][0] if one.label else None for role, one in animals.items()}


def animal_sex_checked(label: str | None, sex: str, known: str) -> None:
    """Refuse an animal whose keeper reported it with the other sex before."""
    if sex != known:
        raise ContradictionError(
            f"You reported {label!r} as a {known} before, and it is named as the "
            f"{'sire' if sex == 'male' else 'dam'} here. Use another label, or correct "
            "the parents.",
            animal=label,
            known_sex=known,
        )


def _breeding_checked(
    loaded: LoadedSpecies, animal: StatedAnimal, shown: Mapping[str, AnimalStatus]
) -> None:
    """Refuse a statement that would undo what breeding has shown of an animal.

    Old notes say what the animal was said to be then. Taken at their word they would make it
    another animal for the pools, or one that is expected to give what it can not give.
    """
    odd, right = at_odds(loaded, animal.statement, {key: one.status for key, one in shown.items()})
    if odd:
        mended = (
            f"That leaves room for one other allele beside {odd[-1]}: leave out what it has not."
            if right is None
            else f"Write its genes as {right!r}."
        )
        raise ContradictionError(
            " ".join(
                (
                    *(_noted(animal.label, shown[gene]) for gene in odd),
                    mended,
                    "Another animal needs another label.",
                )
            ),
            animal=animal.label,
            **({} if right is None else {"genes": right}),
        )


def _proof_checked(animal: StatedAnimal, shown: Mapping[str, AnimalStatus]) -> None:
    """Refuse that a gene is called unproven whose proof was noted."""
    proven = {gene for gene, one in shown.items() if one.status == BreedingStatus.PROVEN}
    if genes := [gene for gene in animal.statement.unproven if gene in proven]:
        noted = " ".join(_noted(animal.label, shown[gene]) for gene in genes)
        raise ContradictionError(
            f"{noted} Leave {' and '.join(genes)} out of what is unproven.",
            animal=animal.label,
            proven=genes,
        )


def _noted(label: str | None, one: AnimalStatus) -> str:
    day = one.made_at.date().isoformat()
    if one.status == BreedingStatus.PROVEN:
        return f"On {day} you noted that {label!r} carries {one.gene}."
    return (
        f"On {day} you noted that {label!r} does not carry {one.gene}; if it gave the gene after "
        "all, note it as proven first."
    )


def stated_animal(given: Mapping[str, Any], statement: ReadParent) -> StatedAnimal:
    """The animal behind a parent of a body."""
    return StatedAnimal(label=given.get("animal") or None, statement=statement)


def pairing_declare(
    keeper: Keeper, given: Mapping[str, Any], *, press: str | None = None
) -> Pairing:
    """Declare a pairing before anything hatches. The time is the server's.

    ``press`` names the form that it was declared with: the same parents declared with it once more,
    by a button that was pressed twice, are the same pairing.

    Raises
    ------
    UnknownSpeciesError, SeasonOutOfRangeError, FieldsError
    """
    with gathered() as faults:
        with faults.at("species"):
            loaded = species_loaded(given["species"])
        with faults.at("season"):
            season_checked(given["season"], ahead=1)
    others = names_elsewhere(loaded.key)
    with gathered() as faults:
        with faults.at("sire"):
            sire = parent_read(loaded, "sire", given["sire"], others)
        with faults.at("dam"):
            dam = parent_read(loaded, "dam", given["dam"], others)
    with transaction.atomic():
        animals = animals_keep(
            keeper.pk,
            loaded,
            {
                "sire": stated_animal(given["sire"], sire),
                "dam": stated_animal(given["dam"], dam),
            },
        )
        pairing_id = uuid.uuid4()
        if press is not None:
            # The keeper is locked now, so a second press finds what the first one declared.
            pairing_id = _id_of_press(keeper, given, press)
            if declared := Pairing.objects.filter(pk=pairing_id, keeper=keeper).first():
                return declared
        return Pairing.objects.create(
            pk=pairing_id,
            keeper=keeper,
            version_id=loaded.version_id,
            season=given["season"],
            sire_id=animals["sire"],
            dam_id=animals["dam"],
            sire_stated=statement_to_json(sire),
            dam_stated=statement_to_json(dam),
            targets=informed_keys(loaded, sire, dam),
        )


def _id_of_press(keeper: Keeper, given: Mapping[str, Any], press: str) -> uuid.UUID:
    """The id that this keeper's form with this body always has; nobody else's can be the same."""
    return uuid.uuid5(keeper.pk, json.dumps([press, given], sort_keys=True))
