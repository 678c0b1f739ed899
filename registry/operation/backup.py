"""Backups: a dump, its checksums and the erasures so far, all of one moment; and the way back."""

from __future__ import annotations

import os
import shutil
import subprocess
from collections.abc import Mapping
from datetime import UTC, datetime
from pathlib import Path
from typing import Final

from django.conf import settings
from django.db import connection, connections, transaction
from psycopg.pq import Conninfo

from registry.operation.checksums import checksums
from registry.server.binaries import client_programs

DUMP: Final = "database.dump"
CHECKSUMS: Final = "checksums.txt"
LEDGER: Final = "erasures.txt"
_NAME: Final = "broodcount-%Y%m%dT%H%M%SZ"


class BackupError(Exception):
    """A backup can't be made or restored; the text says why."""


def backup_make(folder: Path, *, ledger: Path) -> Path:
    """Make a backup in ``folder`` and give its own folder, which appears whole or not at all.

    The service may go on meanwhile: dump and checksums are of one snapshot.

    Parameters
    ----------
    folder
        Where the backups are; made if missing.
    ledger
        The erasures so far, copied too; a file that is not there if there were none.

    Raises
    ------
    BackupError
    """
    made = folder / datetime.now(UTC).strftime(_NAME)
    draft = folder / f".{made.name}.{os.getpid()}"
    try:
        draft.mkdir(parents=True, mode=0o700)
        try:
            # The ledger last: an erasure that is not in the dump any more does no harm in it.
            lines = _dump(draft / DUMP)
            (draft / CHECKSUMS).write_text("\n".join(lines) + "\n", encoding="utf-8")
            if ledger.exists():
                shutil.copyfile(ledger, draft / LEDGER)
            for one in draft.iterdir():
                one.chmod(0o600)
                _flush(one)
            _flush(draft)
            draft.rename(made)
            _flush(folder)
        except BaseException:
            shutil.rmtree(draft, ignore_errors=True)
            raise
    except OSError as error:
        raise BackupError(f"The backup can't be written: {error}") from error
    return made


def _dump(file: Path) -> list[str]:
    """Dump one snapshot of the database, and give its checksums."""
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ READ ONLY")
        cursor.execute("SELECT pg_export_snapshot()")
        (snapshot,) = cursor.fetchone()
        _run("pg_dump", "--format=custom", f"--snapshot={snapshot}", f"--file={file}")
        _run("pg_restore", "--list", str(file))
        return checksums()


def backup_restore(backup: Path) -> list[str]:
    """Restore a backup into the stated database, which must be empty; give its checksums.

    Everything or nothing: one transaction. Owner of all tables is the role that is logged in.

    Raises
    ------
    BackupError
        The backup is incomplete, the database is not empty, or what was restored differs.
    """
    for name in (DUMP, CHECKSUMS):
        if not (backup / name).is_file():
            raise BackupError(f"{backup} is no backup: it has no file {name}.")
    if there := connection.introspection.table_names():
        raise BackupError(
            f"The database has tables already ({there[0]} and {len(there) - 1} more). A backup is "
            "restored into an empty one: make a new database, or use another BROODCOUNT_DATA_DIR."
        )
    connections.close_all()
    _run(
        "pg_restore",
        *("--exit-on-error", "--single-transaction", "--no-owner", "--no-privileges"),
        f"--dbname={connection.settings_dict['NAME']}",
        str(backup / DUMP),
    )
    expected = (backup / CHECKSUMS).read_text(encoding="utf-8").splitlines()
    with transaction.atomic():
        restored = checksums()
    if differing := sorted(set(expected) ^ set(restored)):
        raise BackupError("What was restored is not what was saved: " + "; ".join(differing))
    return restored


def _run(program: str, *options: str) -> None:
    """Run a program of PostgreSQL on our database; the password is on no command line."""
    with connection.cursor() as cursor:
        cursor.execute("SHOW server_version_num")
        (number,) = cursor.fetchone()
    try:
        folder = client_programs(int(number) // 10000, forced=settings.BROODCOUNT_POSTGRES_BIN)
    except LookupError as error:
        raise BackupError(str(error)) from error
    done = subprocess.run(
        [str(folder / program), "--no-password", *options],
        env=_variables(),
        stdin=subprocess.DEVNULL,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.PIPE,
        text=True,
        check=False,
    )
    if done.returncode != 0:
        raise BackupError(f"{program} failed: {done.stderr.strip()}")


def _variables() -> Mapping[str, str]:
    """How to reach the database, as variables of PostgreSQL's client library.

    An older library than ours leaves out a variable that it does not know; as an option in an
    address it would be an error.
    """
    named = {one.keyword.decode(): one.envvar for one in Conninfo.get_defaults()}
    entry = connection.settings_dict
    options = {name: value for name, value in entry["OPTIONS"].items() if isinstance(value, str)}
    stated = {
        "dbname": entry["NAME"],
        "user": entry["USER"],
        "password": entry["PASSWORD"],
        "host": entry["HOST"],
        "port": entry["PORT"],
        **options,
    }
    kept = {name: value for name, value in os.environ.items() if not name.startswith("PG")}
    found = {
        variable.decode(): str(value)
        for name, value in stated.items()
        if value and (variable := named.get(name))
    }
    return kept | found


def _flush(path: Path) -> None:
    descriptor = os.open(path, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


def ledger_path() -> Path:
    """The erasure ledger of this service; the file may not be there yet."""
    stated = getattr(settings, "BROODCOUNT_ERASURE_LEDGER", None)
    return Path(stated) if stated else Path(settings.BROODCOUNT_DATA_DIR) / LEDGER
