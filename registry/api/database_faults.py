"""Faults of the database that are no fault of the service's: the call may be sent again.

Told by SQLSTATE (PostgreSQL's manual, appendix A). Everything else that a database says is a fault
of ours, or one that the operator has to see, and stays a 500.
"""

from __future__ import annotations

from typing import Final

import psycopg
from django.db import OperationalError
from psycopg import errors

from registry.errors import BrokenOffError, DatabaseLostError, RegistryError

_BROKEN_OFF: Final = (errors.DeadlockDetected, errors.SerializationFailure)
_LOST: Final = (
    errors.AdminShutdown,
    errors.CrashShutdown,
    errors.CannotConnectNow,
    errors.TooManyConnections,
)
_CONNECTION_FAULTS: Final = "08"
"""The class of the SQLSTATEs about connections."""


def refusal_of(error: OperationalError) -> RegistryError | None:
    """What the caller is told; None for what sending it again would not mend."""
    said = error.__cause__
    if isinstance(said, _BROKEN_OFF):
        return BrokenOffError()
    if not isinstance(said, psycopg.OperationalError):
        return None
    # The client library says by itself, and without a state, that there is no server.
    if isinstance(said, _LOST) or (said.sqlstate or _CONNECTION_FAULTS)[:2] == _CONNECTION_FAULTS:
        return DatabaseLostError()
    return None
