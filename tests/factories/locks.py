"""Waiting until somebody waits for a lock."""

from __future__ import annotations

import time
from typing import Any, Final

PATIENCE: Final = 30
"""Seconds after which nobody will come any more."""

_WAITING: Final = """
SELECT count(*) FROM pg_locks WHERE NOT granted AND pg_backend_pid() = ANY(pg_blocking_pids(pid))
"""
"""Those who wait for this connection alone: the server may have other databases, and other tests
on them at the same time."""


def until_waited_for(cursor: Any) -> None:
    """Return once another connection waits for a lock that this one holds.

    Raises
    ------
    TimeoutError
    """
    end = time.monotonic() + PATIENCE
    while time.monotonic() < end:
        cursor.execute(_WAITING)
        if cursor.fetchone()[0]:
            return
        time.sleep(0.005)
    raise TimeoutError("Nobody waits for this connection.")
