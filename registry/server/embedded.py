"""The embedded database for as long as a command runs: owned, or borrowed from the owner."""

from __future__ import annotations

import contextlib
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Final

from registry.server.account import database_account
from registry.server.address import (
    answers,
    cluster_folder,
    cluster_major,
    database_url,
    recorded_server,
)
from registry.server.binaries import binaries_for, find_binaries
from registry.server.errors import InUseError, StartError
from registry.server.ownership import (
    FileLock,
    Holder,
    own,
    prepare_data_dir,
    share,
    without_users,
)
from registry.server.postgres import Postgres
from registry.settings.environment import ROOT_DATA_DIR

_BORROW_SECONDS: Final = 60.0
_POLL_SECONDS: Final = 0.1


def embedded_server(
    data_dir: Path, *, postgres_bin: Path | None = None, durable: bool = True
) -> Postgres:
    """A server for ``data_dir``, not started; the caller owns the folder.

    Raises
    ------
    StartError
        No fitting programs, or no account to run them as.
    """
    cluster = cluster_folder(data_dir)
    account = database_account(cluster)
    found = find_binaries(
        forced=postgres_bin, wanted_major=cluster_major(data_dir), database=cluster
    )
    binaries = binaries_for(found, account=account, copies=ROOT_DATA_DIR)
    return Postgres(data_dir=data_dir, binaries=binaries, account=account, durable=durable)


@contextlib.contextmanager
def owned_server(
    data_dir: Path, *, command: str, postgres_bin: Path | None = None, durable: bool = True
) -> Iterator[tuple[Postgres, str]]:
    """Own the folder, run the server, and give it with its address.

    Raises
    ------
    InUseError
        Somebody else owns the folder; the text names the process.
    StartError
    """
    prepare_data_dir(data_dir)
    lock = own(data_dir, command=command)
    if isinstance(lock, Holder):
        message = (
            f"The data folder {data_dir} is in use by '{lock.command}' (process {lock.pid}). "
            "Stop that one first, or set BROODCOUNT_DATA_DIR to another folder."
        )
        raise InUseError(message)
    try:
        server = embedded_server(data_dir, postgres_bin=postgres_bin, durable=durable)
        try:
            yield server, server.start()
        finally:
            server.stop()
    finally:
        lock.release()


@contextlib.contextmanager
def database_for_command(
    data_dir: Path, *, command: str, postgres_bin: Path | None = None
) -> Iterator[str]:
    """Address of the folder's database while a command runs.

    Started and stopped here if nobody runs it; otherwise the running one is used. Who started it
    waits for other commands before stopping it.

    Raises
    ------
    StartError
    """
    prepare_data_dir(data_dir)
    deadline = time.monotonic() + _BORROW_SECONDS
    while True:
        lock = own(data_dir, command=command)
        if isinstance(lock, FileLock):
            break
        with contextlib.closing(_Shared(data_dir)) as shared:
            if url := shared.url():
                yield url
                return
        if time.monotonic() > deadline:
            message = (
                f"'{lock.command}' (process {lock.pid}) owns the data folder {data_dir}, but its "
                "database does not answer."
            )
            raise StartError(message)
        time.sleep(_POLL_SECONDS)
    try:
        server = embedded_server(data_dir, postgres_bin=postgres_bin)
        try:
            yield server.start()
        finally:
            with without_users(data_dir):
                server.stop()
    finally:
        lock.release()


class _Shared:
    """A share in the owner's database."""

    def __init__(self, data_dir: Path) -> None:
        self._data_dir = data_dir
        self._lock = share(data_dir)

    def url(self) -> str | None:
        """Its address, if it answers."""
        recorded = recorded_server(self._data_dir)
        if recorded is None or not answers(self._data_dir, recorded[1]):
            return None
        return database_url(self._data_dir, recorded[1])

    def close(self) -> None:
        """Give the share back."""
        self._lock.release()
