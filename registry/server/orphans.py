"""A PostgreSQL left over when its owner was killed: stopped safely, or waited for.

A process number read from a file says nothing about who has that number now. A process is only
signalled if it works inside our folder and the server it belongs to answers our password.
"""

from __future__ import annotations

import contextlib
import os
import signal
import time
from pathlib import Path
from typing import Final

from registry.server.address import answers, cluster_folder, recorded_server
from registry.server.errors import StartError

_PROCESSES: Final = Path("/proc")
_PATIENCE_SECONDS: Final = 60.0
_POLL_SECONDS: Final = 0.05


def settle_orphans(data_dir: Path) -> None:
    """Return once no server works in the folder; a stale record of one is removed.

    The caller owns the folder's lock, so a server there has lost its owner.

    Raises
    ------
    StartError
        A server is still there after a minute.
    """
    deadline = time.monotonic() + _PATIENCE_SECONDS
    asked = False
    while working := _servers(data_dir):
        if not asked:
            asked = _ask_to_stop(data_dir, working)
        if time.monotonic() > deadline:
            numbers = ", ".join(str(pid) for pid in sorted(working))
            message = (
                f"A PostgreSQL from an earlier start still works in {cluster_folder(data_dir)} "
                f"(process {numbers}) and does not stop."
            )
            raise StartError(message)
        time.sleep(_POLL_SECONDS)
    if _PROCESSES.is_dir():
        # Nothing works in there, so the record is stale. PostgreSQL would refuse to start if an
        # unrelated process had the recorded number by now.
        (cluster_folder(data_dir) / "postmaster.pid").unlink(missing_ok=True)


def _servers(data_dir: Path) -> set[int]:
    """Processes of a PostgreSQL that works in the folder."""
    if not _PROCESSES.is_dir():
        recorded = recorded_server(data_dir)
        return {recorded[0]} if recorded and answers(data_dir, recorded[1]) else set()
    found = set()
    for process in _PROCESSES.iterdir():
        # Processes come and go, and other people's can't be looked into.
        with contextlib.suppress(OSError):
            if (
                process.name.isdecimal()
                and (process / "comm").read_text(encoding="utf-8").strip() == "postgres"
                and (process / "cwd").samefile(cluster_folder(data_dir))
            ):
                found.add(int(process.name))
    return found


def _ask_to_stop(data_dir: Path, working: set[int]) -> bool:
    """Ask the server for a fast shutdown, if it is certainly ours."""
    recorded = recorded_server(data_dir)
    if recorded is None:
        return False
    pid, port = recorded
    if pid not in working or not answers(data_dir, port):
        return False
    with contextlib.suppress(ProcessLookupError):
        os.kill(pid, signal.SIGINT)
    return True
