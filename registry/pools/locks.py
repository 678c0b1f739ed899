"""Locks on targets: of rows that are written, and of the work of bringing a species up to date."""

from __future__ import annotations

import hashlib
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import Final

from django.db import connection

from registry.errors import NotUpToDateError

_LOCK_TARGETS: Final = """
SELECT id FROM pools_pooledtarget WHERE id = ANY(%(targets)s::bigint[])
ORDER BY species_id, source, key
FOR UPDATE
"""


def targets_lock(targets: Sequence[int]) -> None:
    """Lock targets in the order of all writers: by key within a species. One statement.

    Apart from what is done under the lock: in one statement, a join with what was locked would
    lock all of it again for each row wherever the statistics of the table are of a moment when it
    was empty.
    """
    with connection.cursor() as cursor:
        cursor.execute(_LOCK_TARGETS, {"targets": list(targets)})


_SECONDS_BETWEEN: Final = 0.1
MOST_TRIES: Final = 50
"""Times that a reader tries to get at a species that another one brings up to date."""


@contextmanager
def refresh_lock(species: str) -> Iterator[None]:
    """Only one reader at a time brings a species up to date; others wait and find it done.

    Tried and not waited for, so that no reader waits without end and no transaction is broken.

    Raises
    ------
    NotUpToDateError
        Another reader is still at it after ``MOST_TRIES``.
    """
    digest = hashlib.sha256(f"targets of {species}".encode()).digest()
    number = int.from_bytes(digest[:8], "big", signed=True)
    for tried in range(MOST_TRIES):
        if tried:
            time.sleep(_SECONDS_BETWEEN)
        with connection.cursor() as cursor:
            cursor.execute("SELECT pg_try_advisory_lock(%s)", [number])
            (is_ours,) = cursor.fetchone() or (False,)
        if is_ours:
            break
    else:
        raise NotUpToDateError(species)
    try:
        yield
    finally:
        with connection.cursor() as cursor:
            cursor.execute("SELECT pg_advisory_unlock(%s)", [number])
