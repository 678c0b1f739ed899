"""What an operator may do about a database that a command could not work on."""

from __future__ import annotations

from typing import Final

import psycopg
from psycopg import errors

_NO_SUCH_TABLES: Final = (errors.UndefinedTable, errors.UndefinedColumn)
_NOT_LET_IN: Final = ("08", "28", "3D", "57")
"""Classes of SQLSTATE: the connection, who may have one, no such database, stopped by somebody."""


def what_to_do(error: Exception) -> str | None:
    """A sentence for a fault of the operator's making; None for one of ours, to be traced."""
    said = error.__cause__
    if isinstance(said, _NO_SUCH_TABLES):
        return (
            "The database has not got the tables of this version; 'broodcount migrate' makes them."
        )
    if not isinstance(said, psycopg.OperationalError):
        return None
    # Without a state it is the client library that speaks: it reached no server.
    if said.sqlstate is None or said.sqlstate.startswith(_NOT_LET_IN):
        told = " ".join(str(said).split())
        return f"The database of DATABASE_URL does not answer: {told}"
    return None
