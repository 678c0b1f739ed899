"""Erase a keeper; erase again what a restored backup brought back."""

from __future__ import annotations

import contextlib
import datetime as dt
import uuid
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from django.conf import settings
from django.db import connection, transaction

from registry.clutches.models import Clutch
from registry.clutches.services.copies import copies_release, touched_locked
from registry.errors import UnknownTokenError
from registry.keepers.digests import keeper_digest
from registry.keepers.models import Erasure
from registry.keepers.selectors import today
from registry.keepers.services import keeper_lock
from registry.pools.erasing import keeper_contributions_remove
from registry.records.belongings import label_of, removals
from registry.records.ledger import Entry, ledger_append, ledger_read
from registry.records.selectors import COUNTED

_REPLAY_BATCH: Final = 10_000


@dataclass(frozen=True, slots=True)
class Receipt:
    """What was erased. ``receipt`` is the SHA-256 of the keeper's id, which the ledger keeps."""

    receipt: str
    erased_on: dt.date
    removed: Mapping[str, int]


def keeper_erase(
    keeper_id: uuid.UUID,
    *,
    erased_on: dt.date | None = None,
    is_in_file: bool = False,
    unchanged: Callable[[], None] | None = None,
) -> Receipt:
    """Remove a keeper and everything of it, its part in every pool included. One transaction.

    A fixed number of statements, whatever the keeper reported. Answers are right at once: the
    targets are stale, and whoever reads one assesses it anew. Reports of others that waited as
    copies of this keeper's count from now on. Only the ledger is kept: digest and day.

    Parameters
    ----------
    erased_on
        Day of the first erasure, where it is repeated.
    is_in_file
        The ledger's file has the erasure already.
    unchanged
        Asked under the lock: raises if the record is no longer what it is erased as.

    Raises
    ------
    UnknownTokenError
        The keeper left in the meantime.
    OSError
        The ledger's file can not be written; nothing is erased.
    """
    entry = Entry(keeper_digest(keeper_id), erased_on or today())
    with transaction.atomic():
        # Reports and other writes of the keeper are over, or find nobody after this one.
        touched = touched_locked(keeper_id, Clutch.objects.filter(keeper=keeper_id))
        keeper_lock(keeper_id)
        if unchanged is not None:
            unchanged()
        keeper_contributions_remove(keeper_id)
        n_removed = _rows_remove(keeper_id)
        copies_release(touched)
        _entries_store([entry])
        # The last step before the commit: without the line nothing is erased. Should the commit
        # itself fail, the line stands for a keeper who asked and was told that it failed.
        if not is_in_file:
            _entries_write([entry])
    return Receipt(
        receipt=entry.sha256,
        erased_on=entry.erased_on,
        removed={name: n_removed[label_of(model)] for name, model in COUNTED.items()},
    )


def _rows_remove(keeper_id: uuid.UUID) -> dict[str, int]:
    """Rows removed, by table."""
    n_removed: dict[str, int] = {}
    with connection.cursor() as cursor:
        for one in removals():
            cursor.execute(one.sql, {"keeper": keeper_id})
            if one.deletes:
                n_removed[one.label] = cursor.rowcount
    return n_removed


def _entries_store(entries: Sequence[Entry]) -> None:
    """Keep them in the database; a repeated erasure keeps the first day."""
    Erasure.objects.bulk_create(
        [Erasure(sha256=one.sha256, erased_on=one.erased_on) for one in entries],
        ignore_conflicts=True,
    )


def _entries_write(entries: Sequence[Entry]) -> None:
    """Keep them in the file, where there is one."""
    path: Path | None = settings.BROODCOUNT_ERASURE_LEDGER
    if path is not None and entries:
        ledger_append(path, entries)


# --- after a restore --------------------------------------------------------------------------

_KEEPERS_LISTED: Final = """
SELECT found.id, found.sha256
FROM (SELECT id, encode(sha256(convert_to(id::text, 'UTF8')), 'hex') AS sha256
      FROM keepers_keeper) found
WHERE found.sha256 = ANY(%(digests)s)
"""


@dataclass(frozen=True, slots=True)
class Replay:
    """How many erasures were listed, and how many keepers had come back and are erased again."""

    n_listed: int
    n_erased: int


def erasures_replay(entries: Iterable[Entry]) -> Replay:
    """Erase again every keeper that is listed and there; keep all entries, here and in the file.

    May be repeated: what is erased stays so. Each keeper is a transaction of its own.
    """
    n_listed = n_erased = 0
    kept = _kept_in_file()
    for batch in _batches(entries):
        n_listed += len(batch)
        entries_listed = [Entry(digest, day) for digest, day in batch.items()]
        _entries_store(entries_listed)
        _entries_write([one for one in entries_listed if one.sha256 not in kept])
        for keeper_id, digest in _keepers_listed(batch):
            # One who left by itself in the meantime is gone as well.
            with contextlib.suppress(UnknownTokenError):
                keeper_erase(keeper_id, erased_on=batch[digest], is_in_file=True)
                n_erased += 1
    return Replay(n_listed=n_listed, n_erased=n_erased)


def _batches(entries: Iterable[Entry]) -> Iterator[dict[str, dt.date]]:
    """Digest -> first day, some thousands at a time."""
    batch: dict[str, dt.date] = {}
    for one in entries:
        batch[one.sha256] = min(one.erased_on, batch.get(one.sha256, one.erased_on))
        if len(batch) == _REPLAY_BATCH:
            yield batch
            batch = {}
    if batch:
        yield batch


def _keepers_listed(batch: Mapping[str, dt.date]) -> list[tuple[uuid.UUID, str]]:
    with connection.cursor() as cursor:
        cursor.execute(_KEEPERS_LISTED, {"digests": list(batch)})
        return list(cursor.fetchall())


def _kept_in_file() -> set[str]:
    """Digests that the service's own file has."""
    path: Path | None = settings.BROODCOUNT_ERASURE_LEDGER
    if path is None or not path.exists():
        return set()
    return {one.sha256 for one in ledger_read(path) if isinstance(one, Entry)}
