"""Locks on targets, in one order for all writers."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from django.db import connection

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
        cursor.execute(_LOCK_TARGETS, {"targets": targets})
