"""Locks on what makes reports alike: their clutch code, and their parents, season and genes.

A new report meets here whatever takes an earlier one out of the pools or puts it back. Without them
a report could wait as a copy of one that is just being withdrawn, and would then wait for ever.

Order everywhere: these locks, then keepers, then rows of clutches; each of them by key.
"""

from __future__ import annotations

import uuid
from collections.abc import Collection
from typing import Any, Final

from django.db import connection

_SPACE: Final = 0x636C
"""Of the locks with two numbers, those of this module."""

# A hash in 256 slots: one who erases many reports takes 256 locks at most, however many there are.
_LOCK: Final = """
SELECT pg_advisory_xact_lock(%(space)s, slot) FROM (
    SELECT DISTINCT get_byte(sha256(convert_to(key, 'UTF8')), 0) AS slot
    FROM ({keys}) AS alike (key) WHERE key <> '' ORDER BY slot
) AS ordered
"""
_OF_TEXTS: Final = _LOCK.format(keys="SELECT unnest(%(keys)s::text[])")
_OF_CLUTCHES: Final = _LOCK.format(
    keys="SELECT unnest(ARRAY[clutch_code, twin]) FROM clutches_clutch "
    "WHERE id = ANY(%(clutches)s::uuid[])"
)


def alike_lock(keys: Collection[str]) -> None:
    """Lock what a new report would be found by, until the transaction ends. One statement."""
    _lock(_OF_TEXTS, {"keys": list(keys)})


def alike_lock_of(clutch_ids: Collection[uuid.UUID]) -> None:
    """Lock what new reports would find these clutches by. One statement."""
    _lock(_OF_CLUTCHES, {"clutches": list(clutch_ids)})


def _lock(sql: str, values: dict[str, Any]) -> None:
    with connection.cursor() as cursor:
        cursor.execute(sql, {"space": _SPACE, **values})
