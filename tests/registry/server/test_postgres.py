"""The launcher of the embedded PostgreSQL, with real servers."""

from __future__ import annotations

import contextlib
import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import psycopg
import pytest

from registry.server.address import recorded_server
from registry.server.binaries import (
    Binaries,
    _folders,
    _read,
    _wheel_folders,
    find_binaries,
)
from registry.server.embedded import embedded_server, owned_server
from registry.server.errors import StartError
from registry.server.orphans import _servers
from registry.settings.environment import REPOSITORY

pytestmark = pytest.mark.skipif(
    not Path("/proc/self/cwd").exists(), reason="counts processes in /proc"
)


def _all_binaries() -> list[Binaries]:
    """One folder for each way that the programs can be had on this machine."""
    read = [_read(folder) for folder in (next(_folders()), *_wheel_folders())]
    return list({one.folder: one for one in read if one}.values())


@pytest.fixture
def data_dir(tmp_path: Path) -> Iterator[Path]:
    folder = tmp_path / "data of a keeper's registry"
    yield folder
    assert not _servers(folder)


@pytest.mark.parametrize("binaries", _all_binaries(), ids=lambda one: one.version)
def test_postgres__keeps_a_row_and_leaves_no_process(data_dir: Path, binaries: Binaries) -> None:
    with owned_server(data_dir, command="test", postgres_bin=binaries.folder, durable=False) as (
        server,
        url,
    ):
        assert server.alive
        assert len(_servers(data_dir)) > 1
        with psycopg.connect(url) as connection:
            connection.execute("create table egg (name text)")
            connection.execute("insert into egg values ('Ä'), ('b'), ('a'), ('B')")
            told = connection.execute("show server_version").fetchone()
        assert told is not None
        assert told[0].startswith(binaries.version)
    assert not server.alive
    assert not _servers(data_dir)
    with (
        owned_server(data_dir, command="test", postgres_bin=binaries.folder, durable=False) as (
            _,
            url,
        ),
        psycopg.connect(url) as connection,
    ):
        rows = connection.execute("select name from egg order by name").fetchall()
    # By code point, whatever the machine's locale is.
    assert [name for (name,) in rows] == ["B", "a", "b", "Ä"]


def test_postgres__logs_that_a_statement_failed_and_nothing_that_was_in_it(data_dir: Path) -> None:
    with owned_server(data_dir, command="test", durable=False) as (server, url):
        with psycopg.connect(url, autocommit=True) as connection:
            connection.execute("create table animal (label text primary key)")
            for _ in range(2):
                with contextlib.suppress(psycopg.errors.UniqueViolation):
                    connection.execute("insert into animal values ('label of a keeper')")
            with pytest.raises(psycopg.errors.UndefinedTable):
                connection.execute("select 'label of a keeper' from nothing")
        log = server.log.read_text()
    assert "animal_pkey" in log
    assert 'relation "nothing" does not exist' in log
    assert "label of a keeper" not in log


def test_postgres__answers_nobody_without_the_password(data_dir: Path) -> None:
    with owned_server(data_dir, command="test", durable=False) as (_, url):
        recorded = recorded_server(data_dir)
        assert recorded is not None
        for secret in ("", "guess"):
            with pytest.raises(psycopg.OperationalError, match="password"):
                psycopg.connect(
                    host="127.0.0.1",
                    port=recorded[1],
                    user="broodcount",
                    password=secret,
                    dbname="broodcount",
                )
        with psycopg.connect(url) as connection:
            sockets = connection.execute("show unix_socket_directories").fetchone()
        assert sockets == ("",)
        for name in ("password", "owner.lock", "postgresql.log"):
            assert (data_dir / name).stat().st_mode & 0o777 == 0o600
        assert (data_dir / "postgresql").stat().st_mode & 0o777 == 0o700


def test_postgres__opens_no_folder_above_the_data(data_dir: Path) -> None:
    above = [data_dir.parent, *data_dir.parent.parents]
    data_dir.parent.chmod(0o700)
    modes = [one.stat().st_mode for one in above]
    with owned_server(data_dir, command="test", durable=False):
        pass
    assert [one.stat().st_mode for one in above] == modes


_OWNER = """
import sys, time
from pathlib import Path
from registry.server.embedded import owned_server
with owned_server(Path(sys.argv[1]), command="first owner") as (_, url):
    print(url, flush=True)
    time.sleep(600)
"""


def _start_owner(data_dir: Path) -> tuple[subprocess.Popen[str], str]:
    owner = subprocess.Popen(
        [sys.executable, "-c", _OWNER, str(data_dir)],
        cwd=REPOSITORY,
        stdout=subprocess.PIPE,
        text=True,
    )
    assert owner.stdout is not None
    url = owner.stdout.readline().strip()
    assert url.startswith("postgresql://")
    return owner, url


def _end(owner: subprocess.Popen[str], number: signal.Signals) -> None:
    owner.send_signal(number)
    owner.wait(30)
    assert owner.stdout is not None
    owner.stdout.close()


def test_owned_server__keeps_committed_rows_when_its_owner_is_killed(data_dir: Path) -> None:
    owner, url = _start_owner(data_dir)
    with psycopg.connect(url) as connection:
        connection.execute("create table egg (n int)")
        connection.execute("insert into egg select generate_series(1, 1000)")
    _end(owner, signal.SIGKILL)
    with owned_server(data_dir, command="test") as (_, again), psycopg.connect(again) as new:
        assert new.execute("select count(*) from egg").fetchone() == (1000,)


def test_owned_server__is_gone_soon_after_its_owner_was_killed(data_dir: Path) -> None:
    owner, _ = _start_owner(data_dir)
    _end(owner, signal.SIGKILL)
    deadline = time.monotonic() + 20
    while _servers(data_dir) and time.monotonic() < deadline:
        time.sleep(0.05)
    assert not _servers(data_dir)


def test_owned_server__copes_with_a_killed_server(data_dir: Path) -> None:
    with owned_server(data_dir, command="test", durable=False) as (server, _):
        recorded = recorded_server(data_dir)
        assert recorded is not None
        os.kill(recorded[0], signal.SIGKILL)
        deadline = time.monotonic() + 20
        while server.alive and time.monotonic() < deadline:
            time.sleep(0.05)
        assert not server.alive
    assert (data_dir / "postgresql" / "postmaster.pid").exists()
    with owned_server(data_dir, command="test", durable=False) as (server, _):
        assert server.alive


def test_owned_server__stops_an_orphan_that_answers(data_dir: Path) -> None:
    # Owned by nobody: what a machine without the parent-death signal is left with.
    orphan = embedded_server(_made(data_dir), durable=False)
    orphan.start()
    with owned_server(data_dir, command="test", durable=False) as (server, _):
        assert server.alive
        assert not orphan.alive


def _made(data_dir: Path) -> Path:
    data_dir.mkdir()
    return data_dir


def test_owned_server__refuses_a_second_owner_and_names_the_first(data_dir: Path) -> None:
    owner, _ = _start_owner(data_dir)
    with pytest.raises(StartError) as refused, owned_server(data_dir, command="test"):
        pass
    assert f"process {owner.pid}" in str(refused.value)
    assert "'first owner'" in str(refused.value)
    assert str(data_dir) in str(refused.value)
    assert owner.poll() is None
    _end(owner, signal.SIGKILL)
    with owned_server(data_dir, command="test", durable=False):
        pass


def test_owned_server__harms_no_process_named_in_stale_files(data_dir: Path) -> None:
    with owned_server(data_dir, command="test", durable=False):
        text = (data_dir / "postgresql" / "postmaster.pid").read_text()
    bystander = subprocess.Popen(["sleep", "600"])
    try:
        lines = text.splitlines()
        lines[0] = str(bystander.pid)
        record = data_dir / "postgresql" / "postmaster.pid"
        record.write_text("\n".join(lines) + "\n")
        (data_dir / "owner.lock").write_text(f"{bystander.pid}\nbroodcount serve\n")
        with owned_server(data_dir, command="test", durable=False) as (server, _):
            assert server.alive
        assert bystander.poll() is None
    finally:
        bystander.kill()
        bystander.wait()


def test_owned_server__refuses_a_database_of_another_major_version(data_dir: Path) -> None:
    with owned_server(data_dir, command="test", durable=False):
        pass
    (data_dir / "postgresql" / "PG_VERSION").write_text("14\n")
    with pytest.raises(StartError) as refused, owned_server(data_dir, command="test"):
        pass
    here = find_binaries(forced=None, wanted_major=None, database=data_dir)
    assert "was made by PostgreSQL 14" in str(refused.value)
    assert here.version in str(refused.value)


def test_owned_server__refuses_when_the_password_is_gone(data_dir: Path) -> None:
    with owned_server(data_dir, command="test", durable=False):
        pass
    (data_dir / "password").unlink()
    with (
        pytest.raises(StartError, match=r"password, the password .* is gone"),
        owned_server(data_dir, command="test"),
    ):
        pass
    assert not (data_dir / "password").exists()


def test_owned_server__says_why_postgresql_did_not_start(data_dir: Path) -> None:
    with owned_server(data_dir, command="test", durable=False):
        pass
    with (data_dir / "postgresql" / "postgresql.conf").open("a") as file:
        file.write("work_mem = 'a lot'\n")
    with (
        pytest.raises(StartError, match=r"(?s)did not start.*work_mem"),
        owned_server(data_dir, command="test"),
    ):
        pass


def test_owned_server__starts_anew_after_an_interrupted_making(data_dir: Path) -> None:
    draft = data_dir / "postgresql.new"
    draft.mkdir(parents=True)
    (draft / "PG_VERSION").write_text("9\n")
    with owned_server(data_dir, command="test", durable=False) as (server, _):
        assert server.alive
    assert not draft.exists()


def test_owned_server__refuses_a_data_folder_that_is_a_file(tmp_path: Path) -> None:
    file = tmp_path / "file"
    file.touch()
    with pytest.raises(StartError, match="can't be made"), owned_server(file, command="test"):
        pass


def test_find_binaries__says_what_it_looked_at(tmp_path: Path) -> None:
    with pytest.raises(StartError, match="found: none"):
        find_binaries(forced=tmp_path, wanted_major=None, database=tmp_path)
