"""A keeper's clutches held back from the pools by a moderator, and released again."""

from __future__ import annotations

import uuid
from collections.abc import Callable

from django.db import transaction

from registry.clutches.models import COUNTED, Clutch
from registry.clutches.services.copies import copies_settle, touched_locked
from registry.clutches.services.families import families_renew
from registry.keepers.models import Keeper
from registry.keepers.services import keeper_lock
from registry.pools.choices import Source
from registry.pools.families import PoolOwner, families_replace


def keeper_hold(keeper_id: uuid.UUID, *, unchanged: Callable[[], None] | None = None) -> int:
    """Take all of a keeper's clutches out of the pools, later ones included; how many left.

    Nothing is deleted: the keeper reads and changes them as before. Inside the caller's
    transaction, which writes the reason into the audit trail, and which has locked nothing yet:
    what makes reports alike is locked before keepers.

    Parameters
    ----------
    unchanged
        Asked under the lock: raises if the keeper is no longer what it is held as.

    Raises
    ------
    UnknownTokenError
        The keeper left in the meantime.
    """
    with transaction.atomic():
        every = _locked(keeper_id)
        if unchanged is not None:
            unchanged()
        Keeper.objects.filter(pk=keeper_id).update(is_held=True)
        own = Clutch.objects.filter(COUNTED, keeper=keeper_id)
        families = set(own.values_list("family", flat=True))
        n_held: int = Clutch.objects.filter(keeper=keeper_id).update(is_held=True)
        families_replace(PoolOwner("", Source.KEEPERS, None, keeper_id), former=families)
        copies_settle(every)
        return n_held


def keeper_release(keeper_id: uuid.UUID, *, unchanged: Callable[[], None] | None = None) -> int:
    """Put a held keeper's clutches back into the pools; how many came back.

    Likely duplicates stay out as they were. ``unchanged`` and the rest as of ``keeper_hold``.
    """
    with transaction.atomic():
        every = _locked(keeper_id)
        if unchanged is not None:
            unchanged()
        Keeper.objects.filter(pk=keeper_id).update(is_held=False)
        held = Clutch.objects.filter(keeper=keeper_id, is_held=True)
        ids = list(held.values_list("pk", flat=True))
        held.update(is_held=False)
        families_renew(keeper_id, ids)
        copies_settle(every)
        return len(ids)


def _locked(keeper_id: uuid.UUID) -> set[uuid.UUID]:
    """Reports that count or wait with this keeper's: its own, and those it has copies of.

    The keeper is locked, and everybody whose report may count or wait then.
    """
    own = Clutch.objects.filter(keeper=keeper_id)
    touched = touched_locked(keeper_id, own)
    keeper_lock(keeper_id)
    return set(own.values_list("pk", flat=True)) | touched.earlier
