"""The restore drill: dump, restore into a new server, equal checksums; and what is refused."""

from __future__ import annotations

import re
import uuid
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command
from django.db import connection, transaction
from django.test import Client

from registry.clutches.models import Clutch
from registry.keepers.models import Keeper
from registry.operation import backup
from registry.operation.backup import BackupError, backup_make, backup_restore
from registry.operation.checksums import checksums
from registry.records.services import keeper_erase
from registry.server.binaries import client_programs
from registry.server.embedded import owned_server
from registry.settings.database import parse_database_url
from tests.factories.registry import clutch, gecko, joined

pytestmark = pytest.mark.django_db(transaction=True)


@contextmanager
def new_server(folder: Path) -> Iterator[None]:
    """Another server, empty, in the place of the database of the tests."""
    with owned_server(folder, command="test", durable=False) as (_, url):
        connection.close()
        kept, connection.settings_dict = (
            connection.settings_dict,
            {**connection.settings_dict, **parse_database_url(url)},
        )
        try:
            yield
        finally:
            connection.close()
            connection.settings_dict = kept


def lines() -> list[str]:
    with transaction.atomic():
        return checksums()


@pytest.fixture
def filled():
    gecko()
    keeper = joined()
    for season in (2023, 2024):
        keeper.post("clutches/", clutch() | {"season": season})
    return keeper


def test_drill__a_new_server_holds_what_the_old_one_held(filled, tmp_path):
    before = lines()
    saved = backup_make(tmp_path / "backups", ledger=tmp_path / "no ledger")
    assert (saved / "checksums.txt").read_text().splitlines() == before
    assert saved.stat().st_mode & 0o777 == 0o700
    assert (saved / "database.dump").stat().st_mode & 0o777 == 0o600
    # What comes later is not in the backup.
    filled.post("clutches/", clutch() | {"season": 2025})
    with new_server(tmp_path / "new"):
        assert backup_restore(saved) == before
        assert lines() == before
        assert Clutch.objects.count() == 2
        # Sequences go on where they stood, and the restored keeper's token is still good.
        filled.post("clutches/", clutch() | {"season": 2026})
        with pytest.raises(BackupError, match="The database has tables already"):
            backup_restore(saved)
    assert Clutch.objects.count() == 3
    assert lines() != before


def test_drill__who_was_erased_since_the_backup_stays_erased(filled, tmp_path, settings, capsys):
    ledger = tmp_path / "erasures.txt"
    settings.BROODCOUNT_ERASURE_LEDGER = ledger
    joined().post("clutches/", clutch() | {"season": 2024})
    saved = backup_make(tmp_path / "backups", ledger=ledger)
    keeper_erase(uuid.UUID(filled.keeper))
    assert Clutch.objects.count() == 1
    after = [one for one in lines() if one.startswith("table clutches_clutch ")]
    with new_server(tmp_path / "new"):
        # The ledger that is in force is found by itself.
        call_command("restore", str(saved))
        assert "1 erasure ledgers replayed." in capsys.readouterr().out
        assert not Keeper.objects.filter(pk=filled.keeper).exists()
        assert [one for one in lines() if one.startswith("table clutches_clutch ")] == after
        assert Client().get("/api/v1/keepers/me/", headers=bearer(filled)).status_code == 401


def bearer(keeper) -> dict[str, str]:
    return {"Authorization": f"Bearer {keeper.token}"}


def test_restore__tells_what_is_not_as_it_was_saved(filled, tmp_path):
    saved = backup_make(tmp_path / "backups", ledger=tmp_path / "none")
    sums = saved / "checksums.txt"
    sums.write_text(re.sub(r"(table keepers_keeper) 1", r"\1 2", sums.read_text()))
    with new_server(tmp_path / "new"), pytest.raises(BackupError, match="table keepers_keeper 1"):
        backup_restore(saved)
    (saved / "database.dump").unlink()
    with pytest.raises(BackupError, match=r"is no backup: it has no file database.dump"):
        backup_restore(saved)


def test_restore__of_a_broken_dump_leaves_nothing(filled, tmp_path):
    saved = backup_make(tmp_path / "backups", ledger=tmp_path / "none")
    dump = saved / "database.dump"
    dump.write_bytes(dump.read_bytes()[:-2000])
    with new_server(tmp_path / "new"):
        with pytest.raises(BackupError, match="pg_restore failed"):
            backup_restore(saved)
        assert connection.introspection.table_names() == []


def test_backup__that_fails_leaves_nothing(filled, tmp_path, monkeypatch):
    monkeypatch.setattr(backup, "checksums", lambda: 1 / 0)
    with pytest.raises(ZeroDivisionError):
        backup_make(tmp_path / "backups", ledger=tmp_path / "none")
    assert list((tmp_path / "backups").iterdir()) == []


def test_backup__copies_the_ledger(filled, tmp_path):
    ledger = tmp_path / "ledger"
    ledger.write_text("0" * 64 + " 2026-11-25\n")
    saved = backup_make(tmp_path / "backups", ledger=ledger)
    assert (saved / "erasures.txt").read_bytes() == ledger.read_bytes()


def test_backup__says_that_it_cant_write(filled, tmp_path):
    (tmp_path / "file").touch()
    with pytest.raises(CommandError, match="The backup can't be written"):
        call_command("backup", str(tmp_path / "file"))


def test_restore__wants_to_know_of_later_erasures(settings, tmp_path):
    settings.BROODCOUNT_DATA_DIR = tmp_path
    settings.BROODCOUNT_ERASURE_LEDGER = None
    with pytest.raises(CommandError, match="would come back"):
        call_command("restore", str(tmp_path))
    with pytest.raises(CommandError, match="would come back"):
        call_command("restore", str(tmp_path), erasures=tmp_path / "no file")


def test_checksums__tell_a_changed_row_and_nothing_else(filled):
    before = lines()
    # Stored anew, in another order, with the same values.
    Clutch.objects.filter(season=2023).update(season=2023)
    assert lines() == before
    Clutch.objects.filter(season=2023).update(season=2022)
    (changed,) = set(lines()) - set(before)
    assert changed.startswith("table clutches_clutch 2 ")


def test_client_programs__are_of_the_servers_version_or_later(tmp_path):
    major = connection.pg_version // 10000
    assert (client_programs(major, forced=None) / "pg_dump").is_file()
    with pytest.raises(LookupError, match=r"PostgreSQL 99, .*found: \d"):
        client_programs(99, forced=None)
    with pytest.raises(LookupError, match="found: none"):
        client_programs(major, forced=tmp_path)
