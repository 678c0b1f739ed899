"""Where the embedded database is, and whether it answers."""

from __future__ import annotations

import socket
from pathlib import Path
from typing import Final
from urllib.parse import quote

import psycopg

from registry.server.errors import StartError
from registry.settings.secret import stored_secret

HOST: Final = "127.0.0.1"
NAME: Final = "broodcount"
"""Of the database and of the role that owns it."""

_CONNECT_SECONDS: Final = 2
_PID_LINE, _PORT_LINE = 0, 3


def cluster_folder(data_dir: Path) -> Path:
    """Folder of the database's own files."""
    return data_dir / "postgresql"


def cluster_major(data_dir: Path) -> int | None:
    """Major version that made the database; None if there is none."""
    try:
        text = (cluster_folder(data_dir) / "PG_VERSION").read_text(encoding="ascii")
    except FileNotFoundError:
        return None
    return int(text)


def password(data_dir: Path) -> str:
    """The database's password, made at the first call.

    Raises
    ------
    StartError
        It is gone while the database is there, or can't be read.
    """
    file = data_dir / "password"
    if cluster_folder(data_dir).exists() and not file.exists():
        message = f"{file}, the password of the database beside it, is gone. Restore it."
        raise StartError(message)
    try:
        return stored_secret(file)
    except (OSError, ValueError) as error:
        message = f"The password of the database can't be read: {error}"
        raise StartError(message) from error


def database_url(data_dir: Path, port: int, *, database: str = NAME) -> str:
    """Address of the database; it holds the password.

    The client answers nothing but a SCRAM exchange, so another program that took the port learns
    no password, and can't pass for our server.
    """
    secret = quote(password(data_dir), safe="")
    options = "sslmode=disable&gssencmode=disable&require_auth=scram-sha-256"
    return f"postgresql://{NAME}:{secret}@{HOST}:{port}/{database}?{options}"


def answers(data_dir: Path, port: int) -> bool:
    """Whether the server at ``port`` is the one of this folder, and takes connections."""
    url = database_url(data_dir, port, database="postgres")
    try:
        psycopg.connect(url, connect_timeout=_CONNECT_SECONDS).close()
    except psycopg.OperationalError:
        return False
    return True


def recorded_server(data_dir: Path) -> tuple[int, int] | None:
    """Process and port that the server wrote down; they may be of one long gone."""
    try:
        text = (cluster_folder(data_dir) / "postmaster.pid").read_text(encoding="utf-8")
        lines = text.splitlines()
        return int(lines[_PID_LINE]), int(lines[_PORT_LINE])
    except (OSError, ValueError, IndexError):
        return None


def free_port() -> int:
    """A port on the loopback address that nothing listens at now."""
    with socket.socket() as probe:
        probe.bind((HOST, 0))
        port: int = probe.getsockname()[1]
        return port
