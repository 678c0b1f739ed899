"""The ledger of erasures: a file that a restored database does not take back.

One line an erasure: the SHA-256 of the keeper's id, a blank, the day. Lines are only added. A
backup from before an erasure brings the keeper back, so after a restore the lines are replayed.
"""

from __future__ import annotations

import datetime as dt
import os
import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Final, Self

_LINE: Final = re.compile("([0-9a-f]{64}) ([0-9]{4}-[0-9]{2}-[0-9]{2})")


@dataclass(frozen=True, slots=True, order=True)
class Entry:
    """One erasure: digest of the keeper's id, day."""

    sha256: str
    erased_on: dt.date

    def __str__(self) -> str:
        return f"{self.sha256} {self.erased_on.isoformat()}"

    @classmethod
    def read(cls, line: str) -> Self | None:
        """The entry of a line; None if it is none."""
        found = _LINE.fullmatch(line)
        if found is None:
            return None
        try:
            return cls(found[1], dt.date.fromisoformat(found[2]))
        except ValueError:
            return None


@dataclass(frozen=True, slots=True)
class MisreadLine:
    """A line of a ledger that is no entry; numbers count from 1."""

    number: int

    def __str__(self) -> str:
        return f"line {self.number} is no '<64 hexadecimal digits> <day>'; it is left out"


def ledger_read(path: Path) -> Iterator[Entry | MisreadLine]:
    """Every line of a ledger. A torn line (the power went) does not hide the others."""
    with path.open(encoding="utf-8", errors="replace") as file:
        for number, line in enumerate(file, start=1):
            text = line.strip()
            if text:
                yield Entry.read(text) or MisreadLine(number)


def ledger_append(path: Path, entries: Iterable[Entry]) -> None:
    """Add entries and return when they are on the disk. Any number of processes may add at once.

    Raises
    ------
    OSError
        The file can not be written; nothing may be erased then, for the erasure would not survive
        a restore.
    """
    path.parent.mkdir(parents=True, exist_ok=True, mode=0o711)
    is_new = not path.exists()
    descriptor = os.open(path, os.O_RDWR | os.O_CREAT | os.O_APPEND, 0o600)
    try:
        # One write, so that lines of several processes never mix; a torn end is ended first.
        torn = "" if _ends_well(descriptor) else "\n"
        lines = "".join(f"{one}\n" for one in entries)
        _write_whole(descriptor, f"{torn}{lines}".encode("ascii"))
        os.fsync(descriptor)
    finally:
        os.close(descriptor)
    if is_new:
        _sync_folder(path.parent)


def _ends_well(descriptor: int) -> bool:
    size = os.fstat(descriptor).st_size
    return size == 0 or os.pread(descriptor, 1, size - 1) == b"\n"


def _write_whole(descriptor: int, lines: bytes) -> None:
    written = os.write(descriptor, lines)
    if written != len(lines):
        raise OSError(f"Only {written} of {len(lines)} bytes of the ledger were written.")


def _sync_folder(folder: Path) -> None:
    """A new file is safe once its folder is."""
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)
