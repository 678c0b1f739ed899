"""The embedded database's role for the web server, beside the one that owns everything."""

from __future__ import annotations

from pathlib import Path
from typing import Final
from urllib.parse import quote, urlsplit, urlunsplit

import psycopg
from psycopg import sql

from registry.server.address import NAME
from registry.server.errors import StartError
from registry.settings.secret import stored_secret

WEB_ROLE: Final = "broodcount_web"


def web_url(data_dir: Path, owner_url: str) -> str:
    """Address of the same database for the web server; its role is made if it is not there.

    It may log in and nothing else: ``registry.operation.roles`` grants it the rows. Its password
    is kept beside the owner's; a lost one is made anew.

    Raises
    ------
    StartError
        The password can't be kept.
    """
    try:
        secret = stored_secret(data_dir / "web-password")
    except (OSError, ValueError) as error:
        message = f"The password of the web server's role can't be read: {error}"
        raise StartError(message) from error
    with psycopg.connect(owner_url) as connection:
        role = sql.Identifier(WEB_ROLE)
        known = connection.execute("SELECT 1 FROM pg_roles WHERE rolname = %s", (WEB_ROLE,))
        if known.fetchone() is None:
            connection.execute(sql.SQL("CREATE ROLE {}").format(role))
        # Only its SCRAM form goes to the server, so no log of statements can hold the password.
        verifier = connection.pgconn.encrypt_password(
            secret.encode(), WEB_ROLE.encode(), b"scram-sha-256"
        ).decode()
        connection.execute(
            sql.SQL(
                "ALTER ROLE {} WITH LOGIN NOSUPERUSER NOCREATEDB NOCREATEROLE NOREPLICATION"
                " NOBYPASSRLS PASSWORD {}"
            ).format(role, sql.Literal(verifier))
        )
        # Everybody may make temporary tables by default; the web server needs none.
        connection.execute(
            sql.SQL("REVOKE TEMPORARY ON DATABASE {} FROM PUBLIC").format(sql.Identifier(NAME))
        )
    parts = urlsplit(owner_url)
    _, _, place = parts.netloc.rpartition("@")
    return urlunsplit(parts._replace(netloc=f"{WEB_ROLE}:{quote(secret, safe='')}@{place}"))
