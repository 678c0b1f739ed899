"""Reads of pairings, always those of the keeper who asks."""

from __future__ import annotations

import uuid
from collections import defaultdict
from collections.abc import Collection
from typing import Any

from django.db.models import Count, Q, QuerySet
from django.db.models.functions import ExtractYear
from django.utils import timezone

from registry.catalogue.selectors import version_loaded
from registry.errors import NotFoundError
from registry.keepers.models import Keeper
from registry.pairings.bridge.parents import parent_text
from registry.pairings.bridge.stored import statement_from_json
from registry.pairings.models import Animal, AnimalStatus, Pairing


def pairing_list(keeper: Keeper) -> QuerySet[Pairing]:
    """Pairings that a keeper declared."""
    return Pairing.objects.filter(keeper=keeper).select_related("version", "sire", "dam")


def pairing_get(keeper: Keeper, pairing_id: uuid.UUID) -> Pairing:
    """One pairing of a keeper; somebody else's is not found. One statement."""
    found = pairing_list(keeper).filter(pk=pairing_id).first()
    if found is None:
        raise NotFoundError(f"You declared no pairing {pairing_id}.")
    return found


def pairing_answer(pairing: Pairing) -> dict[str, Any]:
    """A pairing as its keeper sees it."""
    loaded = version_loaded(pairing.version_id)
    parents = {}
    for role in ("sire", "dam"):
        animal = getattr(pairing, role)
        statement = statement_from_json(loaded.species, getattr(pairing, f"{role}_stated"))
        parents[role] = {
            "genes": parent_text(loaded, statement),
            "animal": animal.label if animal else None,
        }
    return {
        "id": pairing.pk,
        "species": pairing.version.species_id,
        "season": pairing.season,
        **parents,
        "declared_at": pairing.declared_at,
        "catalogue": pairing.version.label,
    }


def declared_counts(species: str, target_key: str) -> tuple[int, int, int]:
    """Declared pairings whose season is over and whose clutches would inform a combination.

    Only those declared before the season was over: later it was known what hatched.

    Their number, how many of them have no outcome, and how many keepers declared them.
    """
    over = Pairing.objects.filter(
        version__species=species,
        targets__contains=[target_key],
        season__lt=timezone.now().year,
        season__gte=ExtractYear("declared_at"),
        keeper__is_held=False,
    )
    counted = over.aggregate(
        n=Count("pk", distinct=True),
        without=Count("pk", distinct=True, filter=Q(clutches=None)),
        keepers=Count("keeper", distinct=True),
    )
    return counted["n"], counted["without"], counted["keepers"]


def animal_list(keeper: Keeper) -> QuerySet[Animal]:
    """A keeper's labelled animals, with what breeding has shown of them."""
    return Animal.objects.filter(keeper=keeper).prefetch_related("statuses")


def animal_get(keeper: Keeper, animal_id: uuid.UUID) -> Animal:
    """One animal of a keeper; somebody else's is not found."""
    found = animal_list(keeper).filter(pk=animal_id).first()
    if found is None:
        raise NotFoundError(f"You have no animal {animal_id}.")
    return found


def shown_of(animals: Collection[uuid.UUID]) -> dict[uuid.UUID, dict[str, AnimalStatus]]:
    """The newest that breeding has shown of each gene of some animals. One statement."""
    found: dict[uuid.UUID, dict[str, AnimalStatus]] = defaultdict(dict)
    for one in AnimalStatus.objects.filter(animal__in=animals).order_by("pk"):
        found[one.animal_id][one.gene] = one
    return found


def animal_answer(animal: Animal) -> dict[str, Any]:
    """An animal as its keeper sees it."""
    return {
        "id": animal.pk,
        "species": animal.species_id,
        "label": animal.label,
        "sex": animal.sex,
        "genes": animal.genes,
        "statuses": [
            {
                "gene": one.gene,
                "status": one.status,
                "basis": one.basis or None,
                "made_at": one.made_at,
            }
            for one in animal.statuses.all()
        ],
    }
