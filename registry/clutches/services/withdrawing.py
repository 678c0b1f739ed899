"""Take a clutch back. It leaves every pool in the same transaction."""

from __future__ import annotations

import uuid
from collections.abc import Callable

from django.db import transaction

from registry.clutches.models import Clutch
from registry.clutches.selectors import clutch_get
from registry.clutches.services.copies import copies_release, touched_locked
from registry.clutches.services.families import families_left
from registry.keepers.models import Keeper


def clutch_withdraw(
    keeper: Keeper, clutch_id: uuid.UUID, *, unchanged: Callable[[Clutch], None] | None = None
) -> None:
    """Take a clutch back, and its part in every pool with it.

    A later report that waited as its copy counts from now on.

    Parameters
    ----------
    unchanged
        Asked under the lock: raises if the clutch is no longer what the withdrawal was made for.

    Raises
    ------
    NotFoundError
        Not a clutch of this keeper.
    """
    with transaction.atomic():
        touched = touched_locked(keeper.pk, Clutch.objects.filter(keeper=keeper, pk=clutch_id))
        clutch = clutch_get(keeper, clutch_id)
        if unchanged is not None:
            unchanged(clutch)
        seed = {
            "family": clutch.family,
            "sire_id": clutch.sire_id,
            "dam_id": clutch.dam_id,
            "pairing_id": clutch.pairing_id,
        }
        clutch.delete()
        families_left(keeper.pk, clutch.version_id, [seed])
        copies_release(touched)
