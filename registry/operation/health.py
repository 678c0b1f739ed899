"""Whether the service lives, and whether it can answer."""

from __future__ import annotations

from functools import lru_cache
from typing import Final

from django.db import DatabaseError, connection, transaction
from django.db.migrations.loader import MigrationLoader
from django.db.migrations.recorder import MigrationRecorder

from registry.catalogue.selectors import species_list
from registry.errors import NotReadyError

PATIENCE_MILLISECONDS: Final = 2000
"""A database that is locked up answers no keeper either."""

_NO_DATABASE: Final = "The database does not answer."
_NO_TABLES: Final = "The database is not of this version: migrations are missing."
_NO_CATALOGUE: Final = "No species is in force: load a catalogue."


def check_ready() -> None:
    """Return if the database answers, is of this version and holds a catalogue.

    Raises
    ------
    NotReadyError
        With ``missing``: ``database``, ``migrations``, ``catalogue``.
    """
    missing = _missing()
    if missing:
        raise NotReadyError(missing)


def _missing() -> dict[str, str]:
    try:
        with transaction.atomic(), connection.cursor() as cursor:
            cursor.execute(f"SET LOCAL statement_timeout = {PATIENCE_MILLISECONDS}")
            if not _known_migrations() <= _applied():
                return {"migrations": _NO_TABLES}
            if not species_list().exists():
                return {"catalogue": _NO_CATALOGUE}
    except DatabaseError:
        # The next call starts with a new connection instead of one that hangs.
        connection.close()
        return {"database": _NO_DATABASE}
    return {}


def _applied() -> set[tuple[str, str]]:
    recorder = MigrationRecorder(connection)
    return set(recorder.applied_migrations())


@lru_cache(maxsize=1)
def _known_migrations() -> frozenset[tuple[str, str]]:
    """Migrations of this version: its files do not change while it runs."""
    return frozenset(MigrationLoader(None).disk_migrations)
