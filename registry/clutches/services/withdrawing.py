"""Take a clutch back. It leaves every pool in the same transaction."""

from __future__ import annotations

import uuid

from django.db import transaction

from registry.clutches.models import Clutch
from registry.clutches.services.duplicates import copies_release, locked_with_copies
from registry.clutches.services.families import families_left
from registry.errors import NotFoundError
from registry.keepers.models import Keeper


def clutch_withdraw(keeper: Keeper, clutch_id: uuid.UUID) -> None:
    """Take a clutch back, and its part in every pool with it.

    A later report that waited as its copy counts from now on.

    Raises
    ------
    NotFoundError
        Not a clutch of this keeper.
    """
    with transaction.atomic():
        copies = locked_with_copies(keeper.pk, [clutch_id])
        clutch = Clutch.objects.filter(keeper=keeper, pk=clutch_id).first()
        if clutch is None:
            raise NotFoundError(f"You reported no clutch {clutch_id}.")
        seed = {
            "family": clutch.family,
            "sire_id": clutch.sire_id,
            "dam_id": clutch.dam_id,
            "pairing_id": clutch.pairing_id,
        }
        clutch.delete()
        families_left(keeper.pk, clutch.version_id, [seed])
        copies_release(copies)
