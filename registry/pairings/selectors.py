"""Reads of pairings, always those of the keeper who asks."""

from __future__ import annotations

import uuid
from typing import Any

from django.db.models import QuerySet

from registry.catalogue.selectors import version_loaded
from registry.errors import NotFoundError
from registry.keepers.models import Keeper
from registry.pairings.bridge import parent_text, statement_from_json
from registry.pairings.models import Pairing


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
