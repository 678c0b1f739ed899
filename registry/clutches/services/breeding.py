"""What breeding shows of an animal: its clutches are read anew, and every pool follows."""

from __future__ import annotations

import uuid
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, Self

from django.db import transaction
from django.db.models import Q
from django.utils import timezone

from registry.catalogue.bridge import LoadedSpecies
from registry.catalogue.selectors import names_elsewhere, species_loaded, version_loaded
from registry.clutches.bridge.revisions import read_again
from registry.clutches.choices import MAX_REVISIONS, RevisionKind
from registry.clutches.models import Clutch, Revision
from registry.clutches.services.families import families_renew
from registry.clutches.services.revising import NewState, state_add
from registry.errors import ContradictionError, TooManyRevisionsError, at
from registry.keepers.models import Keeper
from registry.keepers.services import keeper_lock
from registry.pairings.bridge.parents import gene_named, informed_keys
from registry.pairings.bridge.shown import statement_bred, text_bred
from registry.pairings.bridge.stored import statement_from_json
from registry.pairings.choices import MAX_STATUSES, BreedingStatus
from registry.pairings.models import Animal, AnimalStatus, Pairing
from registry.pairings.selectors import animal_get, shown_of

Check = Callable[[Animal], None]


def animal_bred(
    keeper: Keeper,
    animal_id: uuid.UUID,
    given: Mapping[str, Any],
    *,
    unchanged: Check | None = None,
) -> Animal:
    """Note what breeding has shown of one gene of an animal, and bring its clutches up to date.

    ``proven``: it carries the gene that was possible or unproven. ``disproved``: it does not carry
    a gene that it was said to carry. A gene that was disproved can be proven afterwards, and is
    given back in one copy. Every clutch of the animal gets a new state, whose calls are held
    against the parents anew; declared pairings that wait are changed likewise.

    Raises
    ------
    NotFoundError
        Not an animal of this keeper.
    FieldsError
        A gene that the animal was never said to carry in any way, or as it is known already.
    """
    with transaction.atomic():
        keeper_lock(keeper.pk)
        animal = animal_get(keeper, animal_id)
        if unchanged is not None:
            unchanged(animal)
        _room_checked(animal)
        loaded = species_loaded(animal.species_id)
        others = names_elsewhere(loaded.key)
        with at("gene"):
            gene = gene_named(loaded, given["gene"], others)
        shown = _Shown.of(animal, gene, given)
        touched = _clutches_read_again(animal, shown)
        waiting = _pairings_changed(animal, shown)
        with at("gene"):
            known = text_bred(
                loaded, animal.genes, gene, shown.status, others, is_restored=shown.is_restored
            )
        if not touched and not waiting and known == animal.genes:
            with at("gene"):
                raise ContradictionError(
                    f"Nothing changes: {animal.label} is {animal.genes}. 'proven' is for a gene "
                    "that it may carry or whose proof was missing, 'disproved' for one that it was "
                    "said to carry.",
                    genes=animal.genes,
                )
        Animal.objects.filter(pk=animal.pk).update(genes=known)
        AnimalStatus.objects.create(
            animal=animal,
            gene=gene,
            status=shown.status,
            basis=shown.basis,
            made_at=timezone.now(),
        )
        families_renew(keeper.pk, touched)
        return animal_get(keeper, animal_id)


def _room_checked(animal: Animal) -> None:
    if AnimalStatus.objects.filter(animal=animal).count() >= MAX_STATUSES:
        raise TooManyRevisionsError(
            f"{MAX_STATUSES} results are kept of one animal, and {animal.label} has them.",
            most=MAX_STATUSES,
        )


@dataclass(frozen=True, slots=True)
class _Shown:
    """What breeding has shown of one gene; ``is_restored`` if the opposite was noted before."""

    gene: str
    status: BreedingStatus
    basis: str
    is_restored: bool

    @classmethod
    def of(cls, animal: Animal, gene: str, given: Mapping[str, Any]) -> Self:
        status = BreedingStatus(given["status"])
        before = shown_of([animal.pk]).get(animal.pk, {}).get(gene)
        return cls(
            gene=gene,
            status=status,
            basis=given.get("basis") or "",
            is_restored=(
                status == BreedingStatus.PROVEN
                and before is not None
                and before.status == BreedingStatus.DISPROVED
            ),
        )

    def on(self, loaded: LoadedSpecies, stored: Mapping[str, Any]) -> dict[str, Any] | None:
        """A stored statement with it; None if that changes nothing."""
        with at("gene"):
            return statement_bred(
                loaded, stored, self.gene, self.status, is_restored=self.is_restored
            )


def _clutches_read_again(animal: Animal, shown: _Shown) -> list[uuid.UUID]:
    """New states of the animal's clutches in which it is stated otherwise; their ids."""
    role = "sire" if animal.sex == "male" else "dam"
    clutches = Clutch.objects.filter(Q(sire=animal) | Q(dam=animal)).order_by("pk")
    newest = {
        one.clutch_id: one.content
        for one in Revision.objects.filter(clutch__in=clutches).order_by("clutch", "number")
    }
    touched = []
    for clutch in clutches:
        loaded, former = version_loaded(clutch.version_id), newest[clutch.pk]
        changed = shown.on(loaded, former[role])
        if changed is None:
            continue
        if clutch.revision >= MAX_REVISIONS:
            raise TooManyRevisionsError(
                f"The clutch {clutch.pk} of {animal.label} has the {MAX_REVISIONS} states that are "
                "kept of one clutch. Withdraw it and report it anew.",
                most=MAX_REVISIONS,
            )
        read = read_again(loaded, {**former, role: changed}, names_elsewhere(loaded.key))
        state_add(
            clutch,
            former,
            NewState(
                read=read,
                eggs=former["eggs"],
                kind=RevisionKind.BREEDING,
                basis=shown.basis or f"{role}: {shown.gene} {shown.status}",
            ),
        )
        touched.append(clutch.pk)
    return touched


def _pairings_changed(animal: Animal, shown: _Shown) -> int:
    """Declared pairings of the animal in which it is stated otherwise; how many."""
    role = "sire" if animal.sex == "male" else "dam"
    changed = []
    for pairing in Pairing.objects.filter(Q(sire=animal) | Q(dam=animal)).order_by("pk"):
        loaded = version_loaded(pairing.version_id)
        stated = shown.on(loaded, getattr(pairing, f"{role}_stated"))
        if stated is not None:
            setattr(pairing, f"{role}_stated", stated)
            sire, dam = (
                statement_from_json(loaded.species, one)
                for one in (pairing.sire_stated, pairing.dam_stated)
            )
            pairing.targets = informed_keys(loaded, sire, dam)
            changed.append(pairing)
    Pairing.objects.bulk_update(changed, [f"{role}_stated", "targets"])
    return len(changed)
