"""What the web server's database role may do: use the rows, and nothing about the tables.

The owner of the tables migrates them. The role of the web server is another: whoever takes over
the web server can neither change or drop a table nor alter the audit trail.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, Final

from django.core.exceptions import ImproperlyConfigured
from django.db import connection, transaction
from psycopg import sql

APPEND_ONLY: Final = frozenset({"keepers_erasure", "moderation_auditentry"})
"""Tables to which rows are added, and never changed or taken away by the service."""
READ_ONLY: Final = frozenset({"django_migrations"})

_GRANTED: Final = ("SELECT", "INSERT", "UPDATE", "DELETE")
_LOCK: Final = 0x62726F6F64726F6C  # of this module's transactions, against each other


def privileges_of(table: str) -> tuple[str, ...]:
    """What the web server's role may do with a table."""
    if table in READ_ONLY:
        return ("SELECT",)
    return ("SELECT", "INSERT") if table in APPEND_ONLY else _GRANTED


def roles_grant(role: str) -> int:
    """Give the role what the web server needs, take anything else; count the tables.

    To be called as the owner of the tables, after every migration. All of it or nothing.

    Raises
    ------
    ImproperlyConfigured
        There is no such role, it is the owner itself, or it keeps more than it should through
        something that the owner of the tables can not change; the text says what to do.
    """
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute("SELECT pg_advisory_xact_lock(%s)", [_LOCK])
        cursor.execute("SELECT current_schema(), current_user")
        schema, owner = cursor.fetchone()
        _check_role(cursor, role, owner=owner)
        tables = _names(cursor, "SELECT tablename FROM pg_tables WHERE schemaname = %s", schema)
        for statement in _statements(schema, role, tables):
            cursor.execute(statement)
        faults = list(role_faults(cursor, role))
        if faults:
            raise ImproperlyConfigured(f"The role {role!r} may do too much. {' '.join(faults)}")
    return len(tables)


def _check_role(cursor: Any, role: str, *, owner: str) -> None:
    cursor.execute("SELECT 1 FROM pg_roles WHERE rolname = %s", [role])
    if cursor.fetchone() is None:
        raise ImproperlyConfigured(
            f"The database has no role {role!r}. Make it first: CREATE ROLE ... LOGIN PASSWORD ..."
        )
    if role == owner:
        raise ImproperlyConfigured(
            f"The role {role!r} owns the tables, so nothing can be kept from it. Give the service "
            "another one in DATABASE_URL, and this one in BROODCOUNT_OWNER_DATABASE_URL."
        )


def _statements(schema: str, role: str, tables: list[str]) -> Iterator[sql.Composed]:
    """Grants of all tables and sequences; what was granted before is taken first."""
    within, to = sql.Identifier(schema), sql.Identifier(role)
    for kind in ("TABLES", "SEQUENCES", "FUNCTIONS"):
        yield sql.SQL("REVOKE ALL ON ALL {} IN SCHEMA {} FROM {}").format(sql.SQL(kind), within, to)
    yield sql.SQL("REVOKE CREATE ON SCHEMA {} FROM {}").format(within, to)
    yield sql.SQL("GRANT USAGE ON SCHEMA {} TO {}").format(within, to)
    yield sql.SQL("GRANT USAGE ON ALL SEQUENCES IN SCHEMA {} TO {}").format(within, to)
    for table in tables:
        granted = sql.SQL(", ").join(map(sql.SQL, privileges_of(table)))
        yield sql.SQL("GRANT {} ON {} TO {}").format(granted, sql.Identifier(schema, table), to)


def role_faults(cursor: Any, role: str) -> Iterator[str]:
    """What the role may do and should not, as sentences: PUBLIC's rights count."""
    cursor.execute(
        "SELECT rolsuper, rolcreaterole, rolcreatedb, rolbypassrls FROM pg_roles"
        " WHERE rolname = %s",
        [role],
    )
    words = ("SUPERUSER", "CREATEROLE", "CREATEDB", "BYPASSRLS")
    held = [word for word, is_held in zip(words, cursor.fetchone(), strict=True) if is_held]
    if held:
        taken = " ".join(f"NO{one}" for one in held)
        yield f"It is {', '.join(held)}: ALTER ROLE {role} {taken}."
        return  # a superuser passes every question below
    cursor.execute(
        "SELECT has_schema_privilege(%s, current_schema(), 'CREATE'), current_schema()", [role]
    )
    may_create, schema = cursor.fetchone()
    if may_create:
        yield f"It can create tables: REVOKE CREATE ON SCHEMA {schema} FROM PUBLIC."
    if owned := _names(
        cursor,
        "SELECT tablename FROM pg_tables WHERE schemaname = current_schema()"
        " AND pg_has_role(%s, tableowner, 'USAGE')",
        role,
    ):
        yield f"It owns {', '.join(owned)}, or belongs to the role that does."
    for table, right in _excess(cursor, role):
        yield f"It holds {right} on {table}, from PUBLIC or another role it belongs to."


def _excess(cursor: Any, role: str) -> list[tuple[str, str]]:
    rights = ("SELECT", "INSERT", "UPDATE", "DELETE", "TRUNCATE", "REFERENCES", "TRIGGER")
    cursor.execute(
        "SELECT tablename, one FROM pg_tables, unnest(%s::text[]) AS one"
        " WHERE schemaname = current_schema()"
        " AND has_table_privilege(%s, format('%%I.%%I', schemaname, tablename), one)"
        " ORDER BY 1, 2",
        [list(rights), role],
    )
    return [(table, right) for table, right in cursor if right not in privileges_of(table)]


def _names(cursor: Any, query: str, *values: str) -> list[str]:
    cursor.execute(query, values)
    return sorted(name for (name,) in cursor)
