"""One owner for each data folder: whoever holds its lock starts and stops the database."""

from __future__ import annotations

import contextlib
import fcntl
import os
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import IO, Final

from registry.server.errors import StartError

_OWNER: Final = "owner.lock"
_USERS: Final = "users.lock"


def prepare_data_dir(data_dir: Path) -> None:
    """Make the folder if it is not there.

    Only this folder is ever made, never changed: others may pass through one that root made (its
    files are closed one by one), since the account of the database has to.

    Raises
    ------
    StartError
    """
    try:
        data_dir.mkdir(parents=True, exist_ok=True, mode=0o711 if os.geteuid() == 0 else 0o700)
    except OSError as error:
        message = f"The data folder {data_dir} can't be made: {error}. Set BROODCOUNT_DATA_DIR."
        raise StartError(message) from error
    if not os.access(data_dir, os.R_OK | os.W_OK | os.X_OK):
        message = f"The data folder {data_dir} can't be written. Set BROODCOUNT_DATA_DIR."
        raise StartError(message)


@dataclass(frozen=True, slots=True)
class Holder:
    """Who holds a lock, by what it wrote: for messages only, nothing is ever done to it."""

    pid: str
    command: str


class FileLock:
    """A lock on a file, let go by the kernel when its process ends, however it ends."""

    def __init__(self, file: IO[str]) -> None:
        self._file = file

    def release(self) -> None:
        """Let go."""
        self._file.close()


def own(data_dir: Path, *, command: str) -> FileLock | Holder:
    """Become the owner of the folder; who owns it, if somebody does."""
    file = _opened(data_dir / _OWNER)
    try:
        fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        with file:
            pid, _, stated = file.read().partition("\n")
        return Holder(pid=pid.strip() or "unknown", command=stated.strip() or "broodcount")
    file.seek(0)
    file.truncate()
    file.write(f"{os.getpid()}\n{command}\n")
    file.flush()
    return FileLock(file)


def share(data_dir: Path) -> FileLock:
    """Be counted as a user of the owner's database; waits while the owner is stopping it."""
    file = _opened(data_dir / _USERS)
    fcntl.flock(file, fcntl.LOCK_SH)
    return FileLock(file)


@contextlib.contextmanager
def without_users(data_dir: Path) -> Iterator[None]:
    """Wait until nobody else uses the database, and keep newcomers out."""
    with _opened(data_dir / _USERS) as file:
        fcntl.flock(file, fcntl.LOCK_EX)
        yield


def _opened(path: Path) -> IO[str]:
    """The lock file, made if missing, readable by its owner alone."""
    try:
        descriptor = os.open(path, os.O_RDWR | os.O_CREAT, 0o600)
    except OSError as error:
        message = f"The lock {path} can't be opened: {error}."
        raise StartError(message) from error
    return os.fdopen(descriptor, "r+", encoding="utf-8")
