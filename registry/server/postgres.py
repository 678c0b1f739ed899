"""Launcher of the embedded PostgreSQL: loopback only, with a password, and no socket file.

The server is a child of this process. It is alive if, and only if, it answers our password.
"""

from __future__ import annotations

import contextlib
import os
import shutil
import signal
import subprocess
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Final

import psycopg
from psycopg import sql

from registry.server.account import Account
from registry.server.address import (
    HOST,
    NAME,
    answers,
    cluster_folder,
    database_url,
    free_port,
    password,
)
from registry.server.binaries import Binaries
from registry.server.children import die_with_parent
from registry.server.errors import StartError
from registry.server.orphans import settle_orphans

_BUILTIN_LOCALE_SINCE: Final = 17
_START_SECONDS: Final = 600.0
"""Recovery after a crash may take minutes; a server that gives up is noticed at once."""
_STOP_SECONDS: Final = 60.0
_STOP_TRIES: Final = 12
_POLL_SECONDS: Final = 0.03
_PORT_TRIES: Final = 5
_QUOTED_LOG_LINES: Final = 5
_PORT_TAKEN: Final = "could not create any TCP/IP sockets"


class Postgres:
    """The database in ``data_dir``; whoever makes one must own that folder.

    Parameters
    ----------
    data_dir
        Holds ``postgresql/`` (the database), ``password`` and ``postgresql.log``.
    binaries, account
        Programs to run and the account to run them as.
    durable
        False gives up every guarantee after a power cut for speed: for tests.
    """

    def __init__(
        self, *, data_dir: Path, binaries: Binaries, account: Account, durable: bool = True
    ) -> None:
        self.data_dir = data_dir
        self.binaries = binaries
        self.account = account
        self.durable = durable
        self._process: subprocess.Popen[bytes] | None = None

    @property
    def cluster(self) -> Path:
        """Folder of the database's own files."""
        return cluster_folder(self.data_dir)

    @property
    def alive(self) -> bool:
        """Whether the server that was started still runs."""
        return self._process is not None and self._process.poll() is None

    def start(self) -> str:
        """Make the database if there is none, start it, and give its address.

        A server left over from a killed owner is stopped first. Must be called in the main
        thread: on Linux the server ends with the thread that started it.

        Raises
        ------
        StartError
        """
        if self.cluster.exists():
            settle_orphans(self.data_dir)
        else:
            self._make_cluster()
        for _ in range(_PORT_TRIES):
            port = free_port()
            log_start = self._launch(port)
            if self._wait_until_ready(port):
                _ensure_database(self.data_dir, port)
                return database_url(self.data_dir, port)
            text = self._log_since(log_start)
            if _PORT_TAKEN not in text:
                break
        lines = "\n  ".join(text.splitlines()[-_QUOTED_LOG_LINES:])
        message = f"PostgreSQL did not start. The end of {self.log}:\n  {lines}"
        raise StartError(message)

    def stop(self) -> None:
        """Stop the server: open connections are ended, everything is written; then it is gone."""
        process, self._process = self._process, None
        if process is None:
            return
        for _ in range(_STOP_TRIES):
            # Again and again: a server that is just starting may miss the first one.
            with contextlib.suppress(ProcessLookupError):
                process.send_signal(signal.SIGINT)
            with contextlib.suppress(subprocess.TimeoutExpired):
                process.wait(_STOP_SECONDS / _STOP_TRIES)
                return
        # Immediate shutdown: the next start recovers from the log, nothing is lost.
        with contextlib.suppress(ProcessLookupError):
            process.send_signal(signal.SIGQUIT)
        process.wait()

    @property
    def log(self) -> Path:
        """What the server has to say."""
        return self.data_dir / "postgresql.log"

    def _make_cluster(self) -> None:
        """Run ``initdb`` on a draft and rename it: an interrupted one leaves nothing behind."""
        draft = self.data_dir / "postgresql.new"
        _remove_tree(draft)
        draft.mkdir(mode=0o700)
        if self.account.switched:
            os.chown(draft, self.account.uid, self.account.gid)
        try:
            self._initdb(draft)
        except StartError:
            _remove_tree(draft)
            raise
        draft.rename(self.cluster)
        descriptor = os.open(self.data_dir, os.O_RDONLY)
        os.fsync(descriptor)
        os.close(descriptor)

    def _initdb(self, draft: Path) -> None:
        """Fill the draft; the collation is by code point whatever the machine's locale is."""
        attempts: list[tuple[str, ...]]
        if self.binaries.major >= _BUILTIN_LOCALE_SINCE:
            attempts = [("--locale=C", "--locale-provider=builtin", "--builtin-locale=C.UTF-8")]
        else:
            attempts = [("--locale=C.UTF-8", "--lc-messages=C"), ("--locale=C",)]
        secret = password(self.data_dir)
        for options in attempts:
            with self._private_text(secret) as password_file, self._reach(draft) as (path, fds):
                made = subprocess.run(
                    [
                        str(self.binaries.folder / "initdb"),
                        f"--pgdata={path}",
                        f"--username={NAME}",
                        "--auth=scram-sha-256",
                        f"--pwfile=/dev/fd/{password_file}",
                        "--encoding=UTF8",
                        "--no-instructions",
                        *([] if self.durable else ["--no-sync"]),
                        *options,
                    ],
                    cwd="/",
                    stdin=subprocess.DEVNULL,
                    capture_output=True,
                    text=True,
                    check=False,
                    pass_fds=(password_file, *fds),
                    **self.account.process_options(),
                )
            if made.returncode == 0:
                return
        message = f"The database can't be made in {self.data_dir}: {made.stderr.strip()}"
        raise StartError(message)

    @contextlib.contextmanager
    def _private_text(self, text: str) -> Iterator[int]:
        """An open file without a name that only the database's account may read."""
        with tempfile.TemporaryFile("w+", encoding="ascii") as file:
            if self.account.switched:
                os.fchown(file.fileno(), self.account.uid, self.account.gid)
            file.write(text + "\n")
            file.flush()
            # Where /dev/fd shares the position instead of opening anew.
            file.seek(0)
            yield file.fileno()

    @contextlib.contextmanager
    def _reach(self, folder: Path) -> Iterator[tuple[str, tuple[int, ...]]]:
        """A path to ``folder`` that the account can walk, and descriptors it needs.

        Below a folder closed to the account no path by name works. Instead of opening that folder
        to everybody, the account gets an open descriptor of its own one.
        """
        if not self.account.switched or self.account.can_enter(folder.parent):
            yield str(folder), ()
            return
        if not Path("/proc/self/fd").is_dir():
            message = (
                f"The account {self.account.name!r}, which runs PostgreSQL for root, can't enter "
                f"{folder.parent}. Set BROODCOUNT_DATA_DIR to a folder that it can pass through."
            )
            raise StartError(message)
        descriptor = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
        try:
            yield f"/proc/self/fd/{descriptor}", (descriptor,)
        finally:
            os.close(descriptor)

    def _launch(self, port: int) -> int:
        """Start the server; give the length of the log before that."""
        options = {
            "listen_addresses": HOST,
            "port": str(port),
            "unix_socket_directories": "",
            "log_checkpoints": "off",
            # A statement or detail in the log would outlive the erasure of the keeper it names.
            "log_min_error_statement": "panic",
            "log_error_verbosity": "terse",
            "max_connections": "60",
        }
        if not self.durable:
            options |= {"fsync": "off", "synchronous_commit": "off", "full_page_writes": "off"}
        settings = [word for key, value in options.items() for word in ("-c", f"{key}={value}")]
        descriptor = os.open(self.log, os.O_WRONLY | os.O_CREAT | os.O_APPEND, 0o600)
        with os.fdopen(descriptor, "ab") as log, self._reach(self.cluster) as (path, fds):
            log_start = log.tell()
            self._process = subprocess.Popen(
                [str(self.binaries.folder / "postgres"), "-D", path, *settings],
                cwd="/",
                stdin=subprocess.DEVNULL,
                stdout=log,
                stderr=log,
                pass_fds=fds,
                # Ctrl-C goes to a whole terminal session: the web server has to stop first.
                start_new_session=True,
                preexec_fn=die_with_parent(signal.SIGINT),
                **self.account.process_options(),
            )
        return log_start

    def _wait_until_ready(self, port: int) -> bool:
        """True once it answers our password; False if it ended."""
        deadline = time.monotonic() + _START_SECONDS
        while self.alive and time.monotonic() < deadline:
            if answers(self.data_dir, port):
                return True
            time.sleep(_POLL_SECONDS)
        self.stop()
        return False

    def _log_since(self, start: int) -> str:
        with self.log.open("rb") as log:
            log.seek(start)
            return log.read().decode("utf-8", "replace")


def _ensure_database(data_dir: Path, port: int) -> None:
    """Make our database inside the server if it is not there yet."""
    url = database_url(data_dir, port, database="postgres")
    with psycopg.connect(url, autocommit=True) as connection:
        name = (NAME,)
        if not connection.execute("select 1 from pg_database where datname = %s", name).fetchone():
            connection.execute(sql.SQL("create database {}").format(sql.Identifier(NAME)))


def _remove_tree(folder: Path) -> None:
    """Remove what an interrupted start left."""
    if folder.exists():
        shutil.rmtree(folder)
