"""``broodcount serve`` as a person uses it: real processes, a real database."""

from __future__ import annotations

import os
import signal
import socket
import subprocess
import sys
import urllib.request
from collections.abc import Iterator
from pathlib import Path

import psycopg
import pytest

from registry.server.address import database_url, recorded_server
from registry.server.orphans import _servers
from registry.settings.environment import REPOSITORY

pytestmark = pytest.mark.skipif(
    not Path("/proc/self/cwd").exists(), reason="counts processes in /proc"
)

READY = "Broodcount is listening on "


class Service:
    """Runs ``broodcount`` on one data folder."""

    def __init__(self, data_dir: Path) -> None:
        self.data_dir = data_dir
        self.started: list[subprocess.Popen[str]] = []
        environment = {k: v for k, v in os.environ.items() if k != "DATABASE_URL"}
        environment.pop("DJANGO_SETTINGS_MODULE", None)
        self.environment = environment | {
            "BROODCOUNT_DATA_DIR": str(data_dir),
            "BROODCOUNT_WORKERS": "1",
            "BROODCOUNT_FIXTURES": str(data_dir / "none"),
        }

    def serve(self, *options: str) -> tuple[subprocess.Popen[str], str]:
        process = subprocess.Popen(
            [sys.executable, "-m", "registry", "serve", *(options or ("--port", "0"))],
            cwd=REPOSITORY,
            env=self.environment,
            stdout=subprocess.PIPE,
            text=True,
            start_new_session=True,
        )
        self.started.append(process)
        assert process.stdout is not None
        line = process.stdout.readline()
        assert line.startswith(READY)
        return process, line.removeprefix(READY).strip()

    def run(self, *words: str) -> subprocess.CompletedProcess[str]:
        return subprocess.run(
            [sys.executable, "-m", "registry", *words],
            cwd=REPOSITORY,
            env=self.environment,
            capture_output=True,
            text=True,
            timeout=60,
            check=False,
        )

    def database(self) -> str:
        recorded = recorded_server(self.data_dir)
        assert recorded is not None
        return database_url(self.data_dir, recorded[1])

    def close(self) -> None:
        for process in self.started:
            if process.poll() is None:
                process.kill()
                process.wait()
            assert process.stdout is not None
            process.stdout.close()


@pytest.fixture
def service(tmp_path: Path) -> Iterator[Service]:
    made = Service(tmp_path / "data dir")
    yield made
    made.close()


def _status(url: str) -> int:
    with urllib.request.urlopen(url, timeout=10) as answer:
        status: int = answer.status
        return status


def _web_servers(port: int) -> list[str]:
    """Processes that still listen at the port."""
    try:
        socket.create_connection(("127.0.0.1", port), timeout=1).close()
    except OSError:
        return []
    return [str(port)]


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGINT])
def test_serve__stops_cleanly(service: Service, number: signal.Signals) -> None:
    process, url = service.serve()
    assert _status(url) == 200
    # As Ctrl-C does, to everything in the terminal's session.
    os.killpg(process.pid, number)
    assert process.wait(30) == 0
    assert not _servers(service.data_dir)
    assert not _web_servers(int(url.split(":")[2].split("/")[0]))


def test_serve__killed_starts_again_at_the_same_port_with_its_rows(service: Service) -> None:
    process, url = service.serve()
    with psycopg.connect(service.database()) as connection:
        connection.execute("create table egg (n int)")
        connection.execute("insert into egg values (42)")
    process.kill()
    process.wait()
    again, same = service.serve("--port", url.split(":")[2].split("/")[0])
    assert same == url
    with psycopg.connect(service.database()) as connection:
        assert connection.execute("select n from egg").fetchone() == (42,)
    again.terminate()
    assert again.wait(30) == 0


def test_serve__refuses_a_data_folder_in_use_and_commands_share_it(service: Service) -> None:
    process, url = service.serve()
    second = service.run("serve", "--port", "0")
    assert second.returncode == 1
    assert f"process {process.pid}" in second.stderr
    assert str(service.data_dir) in second.stderr
    assert "Traceback" not in second.stderr
    shared = service.run("migrate", "--check")
    assert (shared.returncode, shared.stderr) == (0, "")
    assert _status(url) == 200
    process.terminate()
    assert process.wait(30) == 0


def test_serve__says_that_the_port_is_taken(service: Service) -> None:
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = str(taken.getsockname()[1])
        refused = service.run("serve", "--port", port)
    assert refused.returncode == 1
    assert f"Port {port} of 127.0.0.1 is in use" in refused.stderr
    assert "Traceback" not in refused.stderr
    assert not _servers(service.data_dir)


def test_main__runs_a_django_command_on_its_own_database(service: Service) -> None:
    done = service.run("migrate", "--verbosity", "0")
    assert (done.returncode, done.stdout, done.stderr) == (0, "", "")
    assert not _servers(service.data_dir)
    assert (service.data_dir / "secret-key").stat().st_mode & 0o777 == 0o600


@pytest.mark.parametrize(
    ("words", "code", "text"),
    [
        (("serve", "--port", "70000"), 2, "expected a port from 0 to 65535"),
        (("serve", "--prot", "1"), 2, "unrecognized arguments"),
        (("no-such-command",), 1, "Unknown command"),
    ],
)
def test_main__says_what_is_wrong_with_the_words(
    service: Service, words: tuple[str, ...], code: int, text: str
) -> None:
    done = service.run(*words)
    assert done.returncode == code
    assert text in done.stderr
    assert "Traceback" not in done.stderr


def test_main__names_a_variable_that_cant_be_read(service: Service) -> None:
    service.environment["BROODCOUNT_WORKERS"] = "several"
    done = service.run("serve")
    assert (done.returncode, done.stdout) == (1, "")
    assert done.stderr == (
        "broodcount: BROODCOUNT_WORKERS: read 'several', expected a whole number from 1 on.\n"
    )
