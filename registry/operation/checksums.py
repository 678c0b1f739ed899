"""A checksum of every table, equal for equal rows in whatever order they were stored."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, Final

from django.db import connection
from psycopg import sql

_FORMS: Final = {
    "TimeZone": "UTC",
    "DateStyle": "ISO, MDY",
    "IntervalStyle": "postgres",
    "bytea_output": "hex",
    "extra_float_digits": "1",
}
"""How values are written as text; a server may have other defaults."""


def checksums() -> list[str]:
    """One line for each table and each sequence: kind, name, count, checksum.

    To be called inside a transaction; a snapshot (repeatable read) makes all lines of one moment.
    A row's text is the database's own, columns in their order, so a column that moved tells too.
    """
    with connection.cursor() as cursor:
        for name, form in _FORMS.items():
            cursor.execute("SELECT set_config(%s, %s, true)", [name, form])
        return [*_tables(cursor), *_sequences(cursor)]


def _tables(cursor: Any) -> Iterator[str]:
    for name in _names(cursor, "pg_tables", "tablename"):
        cursor.execute(
            sql.SQL(
                "SELECT count(*), md5(coalesce(string_agg(digest, '' ORDER BY digest), ''))"
                ' FROM (SELECT md5(one::text) COLLATE "C" AS digest FROM {} AS one) AS rows'
            ).format(sql.Identifier(name))
        )
        n_rows, digest = cursor.fetchone()
        yield f"table {name} {n_rows} {digest}"


def _sequences(cursor: Any) -> Iterator[str]:
    """One that starts anew after a restore gives out numbers that are taken."""
    for name in _names(cursor, "pg_sequences", "sequencename"):
        cursor.execute(sql.SQL("SELECT last_value, is_called FROM {}").format(sql.Identifier(name)))
        last, is_called = cursor.fetchone()
        yield f"sequence {name} {last} {'used' if is_called else 'fresh'}"


def _names(cursor: Any, view: str, column: str) -> list[str]:
    cursor.execute(
        sql.SQL("SELECT {} FROM {} WHERE schemaname = current_schema()").format(
            sql.Identifier(column), sql.Identifier(view)
        )
    )
    return sorted(name for (name,) in cursor.fetchall())
