"""``broodcount serve``: one supervisor over the embedded database and the web server."""

from __future__ import annotations

import contextlib
import errno
import http.client
import os
import shutil
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from types import FrameType
from typing import Final

import django
from django.core.management import CommandError, call_command
from django.db import connections

from registry.operation.variables import unknown_variable_texts
from registry.server.children import GRACE_SECONDS, die_with_parent
from registry.server.embedded import owned_server
from registry.server.errors import StartError
from registry.server.postgres import Postgres
from registry.server.web_role import web_url
from registry.settings.database import parse_database_url
from registry.settings.environment import (
    METRICS_DIR,
    OWNER_DATABASE_URL,
    REPOSITORY,
    Environment,
)

_POLL_SECONDS: Final = 0.1
_BIND_SECONDS: Final = 2.0
"""A web server whose supervisor was killed needs a moment to let go of the port."""
_READY_SECONDS: Final = 60.0
_STOP_SECONDS: Final = GRACE_SECONDS + 5.0
_BACKLOG: Final = 2048
_FIRST_FAILURE: Final = 500
_API: Final = "/api/v1/"


class _StopRequested(Exception):  # noqa: N818 - no error: somebody wants the service to end
    """Ctrl-C or SIGTERM came."""


class _Stop:
    """Whether somebody asked the service to end.

    The handler only notes it: an exception thrown into the middle of starting a database could
    leave it without an owner.
    """

    def __init__(self) -> None:
        self.requested = False

    def note(self, _number: int, _frame: FrameType | None) -> None:
        """Signal handler."""
        self.requested = True

    def check(self) -> None:
        """Raise `_StopRequested` if so."""
        if self.requested:
            raise _StopRequested


@dataclass(frozen=True, slots=True)
class Opening:
    """What a service begins with: a command of ours, run before the first request, and a page."""

    command: Sequence[str]
    page: str


def serve(environment: Environment, *, host: str, port: int, opening: Opening | None = None) -> int:
    """Serve until told to stop; give the exit code.

    Parameters
    ----------
    opening
        Its page is told, and opened in a browser if there is one, once the service answers.

    Raises
    ------
    StartError
        The data folder is in use, the database does not start, the port is taken, the command of
        the opening fails, or the web server ended by itself. Whatever was started has been stopped
        by then.
    """
    stop = _Stop()
    for number in (signal.SIGINT, signal.SIGTERM, signal.SIGHUP):
        signal.signal(number, stop.note)
    try:
        with _database(environment) as database:
            stop.check()
            with _listen(host, port, stop) as listener:
                os.environ["DATABASE_URL"] = database.owner_url
                _bring_up_to_date(environment, database, stop)
                if opening is not None:
                    _run_first(opening.command, stop)
                with _metrics_dir(environment, listener) as folder:
                    variables = _web_variables(database, folder)
                    _run(
                        listener,
                        variables=variables,
                        server=database.server,
                        stop=stop,
                        page=opening.page if opening else None,
                    )
    except _StopRequested:
        print("Broodcount has stopped.", flush=True)
    return 0


@dataclass(frozen=True, slots=True)
class _Database:
    """The database as its owner and as the web server reach it; ``server`` if it is embedded."""

    owner_url: str
    web_url: str
    server: Postgres | None = None

    @property
    def web_role(self) -> str | None:
        """Role of the web server, if it is another than the owner."""
        web, owner = (parse_database_url(url)["USER"] for url in (self.web_url, self.owner_url))
        return None if web == owner else str(web)


@contextlib.contextmanager
def _database(environment: Environment) -> Iterator[_Database]:
    """The stated database, or the embedded one, running."""
    if url := environment.database_url:
        yield _Database(owner_url=environment.owner_database_url or url, web_url=url)
        return
    with owned_server(
        environment.data_dir, command="broodcount serve", postgres_bin=environment.postgres_bin
    ) as (server, url):
        yield _Database(url, web_url(environment.data_dir, url), server)


@contextlib.contextmanager
def _metrics_dir(environment: Environment, listener: socket.socket) -> Iterator[Path | None]:
    """An empty folder where the web server's processes leave their numbers, while it runs.

    Named after the address, which one service at a time can have: what one that was killed left
    there is of no use to the next.
    """
    if not environment.metrics:
        yield None
        return
    host, port = listener.getsockname()[:2]
    folder = environment.data_dir / "metrics" / f"{host.replace(':', '_')}-{port}"
    try:
        shutil.rmtree(folder, ignore_errors=True)
        folder.mkdir(parents=True, mode=0o700)
    except OSError as error:
        message = f"The folder {folder} for metrics can't be made: {error}."
        raise StartError(message) from error
    try:
        yield folder
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def _web_variables(database: _Database, metrics_dir: Path | None) -> dict[str, str]:
    """Environment of the web server: it is not told how to log in as the owner."""
    kept = {k: v for k, v in os.environ.items() if k not in {OWNER_DATABASE_URL, METRICS_DIR}}
    told = {"DATABASE_URL": database.web_url}
    return kept | told | ({METRICS_DIR: str(metrics_dir)} if metrics_dir else {})


def _listen(host: str, port: int, stop: _Stop) -> socket.socket:
    """The socket that the web server inherits: taken before anything is announced."""
    deadline = time.monotonic() + _BIND_SECONDS
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    while True:
        stop.check()
        try:
            return socket.create_server((host, port), family=family, backlog=_BACKLOG)
        except OSError as error:
            if error.errno == errno.EADDRINUSE and time.monotonic() < deadline:
                time.sleep(_POLL_SECONDS)
                continue
            message = f"Can't listen at {host}, port {port}: {os.strerror(error.errno or 0)}."
            if error.errno == errno.EADDRINUSE:
                message = (
                    f"Port {port} of {host} is in use by another program. Stop that one, or "
                    "choose another port with --port."
                )
            raise StartError(message) from error


def _bring_up_to_date(environment: Environment, database: _Database, stop: _Stop) -> None:
    """Migrate, grant, and load the catalogue with the invented species of the examples."""
    django.setup()
    for text in unknown_variable_texts(environment.unknown):
        print(f"broodcount: {text}", file=sys.stderr, flush=True)
    named = [environment.fixtures / "catalogue", environment.fixtures / "demo"]
    folders = [str(one) for one in named if one.is_dir()]
    try:
        call_command("migrate", interactive=False, verbosity=0)
        stop.check()
        if role := database.web_role:
            call_command("roles", "grant", role, verbosity=0)
        if folders:
            call_command("catalogue", "load", *folders)
    except CommandError as error:
        message = f"The database can't be brought up to date: {error}"
        raise StartError(message) from error
    finally:
        connections.close_all()
    stop.check()


def _run(
    listener: socket.socket,
    *,
    variables: Mapping[str, str],
    server: Postgres | None,
    stop: _Stop,
    page: str | None,
) -> None:
    """Run the web server until it is told to stop, or something ends by itself."""
    process = _start_web_server(listener, variables)
    try:
        _wait_until_it_answers(process, listener, stop)
        host, port = listener.getsockname()[:2]
        shown = f"[{host}]" if ":" in host else host
        print(f"Broodcount is listening on http://{shown}:{port}{_API}", flush=True)
        if page is not None:
            _open(f"http://{shown}:{port}{page}")
        while True:
            stop.check()
            _check_running(process)
            if server is not None and not server.alive:
                message = f"PostgreSQL ended by itself; see {server.log}."
                raise StartError(message)
            time.sleep(_POLL_SECONDS)
    finally:
        _end(process)


def _run_first(words: Sequence[str], stop: _Stop) -> None:
    """Run a command of ours as the owner of the tables; end it at once if told to stop."""
    process = subprocess.Popen(
        [sys.executable, "-m", "registry", *words],
        cwd=REPOSITORY,
        stdin=subprocess.DEVNULL,
        start_new_session=True,
        preexec_fn=die_with_parent(signal.SIGTERM),
    )
    try:
        while process.poll() is None:
            stop.check()
            time.sleep(_POLL_SECONDS)
    finally:
        _end(process)
    if process.returncode:
        message = f"'broodcount {words[0]}' failed; its reason is above."
        raise StartError(message)


def _open(address: str) -> None:
    """Tell an address, and open it in a browser if this machine has one with a screen."""
    print(f"The page to begin with: {address}", flush=True)
    if os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY") or sys.platform == "darwin":
        # Not in this process: a browser of the terminal would keep it until it is closed.
        subprocess.Popen(
            [sys.executable, "-m", "webbrowser", address],
            stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
            start_new_session=True,
        )


def _start_web_server(
    listener: socket.socket, environment: Mapping[str, str]
) -> subprocess.Popen[bytes]:
    """Start gunicorn on the socket that is already bound."""
    descriptor = listener.fileno()
    return subprocess.Popen(
        [
            sys.executable,
            *("-m", "gunicorn", "registry.wsgi:application"),
            "--config=python:registry.server.gunicorn_settings",
            f"--bind=fd://{descriptor}",
        ],
        env=environment,
        # It imports from its current folder first; that of the caller may hold anything.
        cwd=REPOSITORY,
        stdin=subprocess.DEVNULL,
        pass_fds=(descriptor,),
        # Ctrl-C goes to a whole terminal session; the supervisor passes it on in order.
        start_new_session=True,
        preexec_fn=die_with_parent(signal.SIGTERM),
    )


def _wait_until_it_answers(
    process: subprocess.Popen[bytes], listener: socket.socket, stop: _Stop
) -> None:
    """Return once the interface answers a request."""
    deadline = time.monotonic() + _READY_SECONDS
    while not _answers(listener):
        stop.check()
        _check_running(process)
        if time.monotonic() > deadline:
            message = f"The web server gives no good answer within {_READY_SECONDS:.0f} s."
            raise StartError(message)
        time.sleep(_POLL_SECONDS)


def _answers(listener: socket.socket) -> bool:
    """Whether ``GET /api/v1/`` is answered, and not by a failure."""
    host, port = listener.getsockname()[:2]
    reachable = {"0.0.0.0": "127.0.0.1", "::": "::1"}.get(host, host)  # noqa: S104 - read, not bound
    connection = http.client.HTTPConnection(reachable, port, timeout=5)
    try:
        connection.request("GET", _API, headers={"Host": "localhost"})
        return connection.getresponse().status < _FIRST_FAILURE
    except (OSError, http.client.HTTPException):
        return False
    finally:
        connection.close()


def _check_running(process: subprocess.Popen[bytes]) -> None:
    """Raise `StartError` if the web server has ended."""
    code = process.poll()
    if code is not None:
        message = f"The web server ended by itself with exit code {code}; its reason is above."
        raise StartError(message)


def _end(process: subprocess.Popen[bytes]) -> None:
    """Tell a process to end, which lets requests in progress finish, and wait until it has."""
    if process.poll() is not None:
        return
    process.terminate()
    try:
        process.wait(_STOP_SECONDS)
    except subprocess.TimeoutExpired:
        process.kill()
        process.wait()
