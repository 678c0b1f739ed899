"""The real service for tests: supervisor, gunicorn workers, a database of its own."""

from __future__ import annotations

import http.client
import json
import os
import shutil
import subprocess
import sys
import time
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final
from urllib.parse import quote, urlsplit

import psycopg

from registry.server.address import database_url, recorded_server
from registry.settings.environment import REPOSITORY
from tests.factories.registry import API, GECKO_FILE

READY: Final = "Broodcount is listening on "
JSON: Final = {"Content-Type": "application/json", "Host": "localhost"}


@dataclass(frozen=True)
class Served:
    """A service that runs: its process, address and database."""

    process: subprocess.Popen[str]
    host: str
    port: int
    database: str

    def workers(self) -> list[int]:
        """Process ids of the web server's workers."""
        return [worker for master in _children(self.process.pid) for worker in _children(master)]

    def call(
        self, method: str, path: str, body: Any = None, headers: Mapping[str, str] | None = None
    ) -> tuple[int, bytes, dict[str, str]]:
        """Status, body and headers (by lower-case name) of one call. Raises what breaks."""
        connection = http.client.HTTPConnection(self.host, self.port, timeout=30)
        try:
            content = None if body is None else json.dumps(body).encode()
            connection.request(method, API + path, content, {**JSON, **(headers or {})})
            answer = connection.getresponse()
            named = {name.lower(): text for name, text in answer.getheaders()}
            return answer.status, answer.read(), named
        finally:
            connection.close()


def _children(pid: int) -> list[int]:
    """Children by the table of processes; the web server's are not those of its first thread."""
    found = []
    for folder in Path("/proc").iterdir():
        if folder.name.isdigit():
            try:
                parent = (folder / "stat").read_text().rpartition(")")[2].split()[1]
                command = (folder / "cmdline").read_bytes()
            except OSError:
                continue
            if int(parent) == pid and b"gunicorn" in command:
                found.append(int(folder.name))
    return found


@contextmanager
def served(folder: Path, *, url: str | None = None, **variables: str) -> Iterator[Served]:
    """Start ``broodcount serve`` with two workers; on the database at ``url``, or its own."""
    demo = folder / "fixtures" / "demo"
    demo.mkdir(parents=True)
    shutil.copy(GECKO_FILE, demo)
    environment = {
        name: text
        for name, text in os.environ.items()
        if name not in {"DATABASE_URL", "DJANGO_SETTINGS_MODULE"}
    } | {
        "BROODCOUNT_DATA_DIR": str(folder / "data"),
        "BROODCOUNT_FIXTURES": str(folder / "fixtures"),
        "BROODCOUNT_WORKERS": "2",
        **({"DATABASE_URL": url} if url else {}),
        **variables,
    }
    process = subprocess.Popen(
        [sys.executable, "-m", "registry", "serve", "--port", "0"],
        cwd=REPOSITORY,
        env=environment,
        stdout=subprocess.PIPE,
        text=True,
        start_new_session=True,
    )
    assert process.stdout is not None
    try:
        # Before it, the species that were loaded are told.
        line = next((one for one in process.stdout if one.startswith(READY)), "")
        assert line, "the service did not start"
        parts = urlsplit(line.removeprefix(READY).strip())
        recorded = recorded_server(folder / "data")
        database = url or database_url(folder / "data", recorded[1] if recorded else 0)
        service = Served(process, str(parts.hostname), int(parts.port or 0), database)
        deadline = time.monotonic() + 20
        while len(service.workers()) < 2:
            assert time.monotonic() < deadline, "the web server has no two workers"
            time.sleep(0.05)
        yield service
    finally:
        process.terminate()
        try:
            process.wait(45)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()
        process.stdout.close()


@contextmanager
def own_database(server: str, name: str) -> Iterator[str]:
    """Address of a new database on a server that runs, removed afterwards."""
    name = f"{name} {os.getpid()}"
    parts = urlsplit(server)
    with psycopg.connect(server, autocommit=True) as connection:
        connection.execute(f'DROP DATABASE IF EXISTS "{name}" WITH (FORCE)')
        connection.execute(f'CREATE DATABASE "{name}"')
        try:
            yield parts._replace(path=f"/{quote(name)}").geturl()
        finally:
            connection.execute(f'DROP DATABASE "{name}" WITH (FORCE)')


def address_of(settings: Any) -> str:
    """Address of the server that these tests run on, for databases of their own."""
    one = settings.DATABASES["default"]
    password = f":{one['PASSWORD']}" if one["PASSWORD"] else ""
    return f"postgresql://{one['USER']}{password}@{one['HOST']}:{one['PORT']}/postgres"
