"""The ledger's file: whole lines, one at a time, on the disk."""

from __future__ import annotations

import datetime as dt
import os
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest

from registry.records import ledger
from registry.records.ledger import Entry, MisreadLine, ledger_append, ledger_read

DAY = dt.date(2026, 5, 31)


def entry(n: int) -> Entry:
    return Entry(f"{n:064x}", DAY)


def test_ledger__reads_back_what_was_added(tmp_path: Path) -> None:
    path = tmp_path / "new folder" / "erasures.txt"
    ledger_append(path, [entry(1)])
    ledger_append(path, [entry(2), entry(3)])
    assert list(ledger_read(path)) == [entry(1), entry(2), entry(3)]
    assert path.read_text() == "".join(f"{n:064x} 2026-05-31\n" for n in (1, 2, 3))
    assert path.stat().st_mode & 0o777 == 0o600


def test_ledger__ends_a_torn_line_before_it_adds_one(tmp_path: Path) -> None:
    path = tmp_path / "erasures.txt"
    path.write_text(str(entry(1))[:50])
    ledger_append(path, [entry(2)])
    assert list(ledger_read(path)) == [MisreadLine(1), entry(2)]


def test_ledger__takes_lines_of_many_at_once(tmp_path: Path) -> None:
    path = tmp_path / "erasures.txt"
    with ThreadPoolExecutor(8) as pool:
        list(pool.map(lambda n: ledger_append(path, [entry(n)]), range(200)))
    assert sorted(one for one in ledger_read(path) if isinstance(one, Entry)) == [
        entry(n) for n in range(200)
    ]


def test_ledger__is_on_the_disk_before_it_returns(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "erasures.txt"
    synced: list[str] = []
    sync = os.fsync

    def noted(descriptor: int) -> None:
        synced.append(str(Path(f"/proc/self/fd/{descriptor}").readlink()))
        sync(descriptor)

    monkeypatch.setattr(ledger.os, "fsync", noted)
    ledger_append(path, [entry(1)])
    assert synced == [str(path), str(tmp_path)]
    ledger_append(path, [entry(2)])
    assert synced[2:] == [str(path)]


@pytest.mark.parametrize(
    "line",
    [
        "",
        "0" * 64,
        f"{'0' * 63} 2026-05-31",
        f"{'G' * 64} 2026-05-31",
        f"{'A' * 64} 2026-05-31",
        f"{'0' * 64} 2026-02-30",
        f"{'0' * 64} 2026-05-31 more",
    ],
)
def test_entry__is_read_from_its_own_form_only(line: str) -> None:
    assert Entry.read(line) is None
