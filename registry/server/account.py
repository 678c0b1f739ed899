"""The operating-system account that PostgreSQL runs as: it refuses to run as root."""

from __future__ import annotations

import os
import pwd
import stat
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from registry.server.errors import StartError

_CANDIDATES: Final = ("postgres", "nobody")


@dataclass(frozen=True, slots=True)
class Account:
    """An account by number; ``switched`` if it is not the one of this process."""

    uid: int
    gid: int
    name: str
    switched: bool

    def process_options(self) -> Mapping[str, Any]:
        """Arguments for `subprocess` that start a program as this account."""
        if not self.switched:
            return {}
        return {"user": self.uid, "group": self.gid, "extra_groups": []}

    def can_enter(self, folder: Path) -> bool:
        """Whether the account may enter the folder, by the mode bits of it and of all above it."""
        resolved = folder.resolve()
        return all(self._may_enter(one.stat()) for one in (resolved, *resolved.parents))

    def _may_enter(self, status: os.stat_result) -> bool:
        if status.st_uid == self.uid:
            return bool(status.st_mode & stat.S_IXUSR)
        if status.st_gid == self.gid:
            return bool(status.st_mode & stat.S_IXGRP)
        return bool(status.st_mode & stat.S_IXOTH)


def database_account(cluster: Path) -> Account:
    """Account for the database whose files are, or will be, in ``cluster``.

    Anyone but root uses their own. Root uses the owner of the files if there are any, then the
    account ``postgres``, then ``nobody``.

    Raises
    ------
    StartError
        Root finds no such account, or the files belong to root.
    """
    if os.geteuid() != 0:
        return Account(uid=os.geteuid(), gid=os.getegid(), name="", switched=False)
    if cluster.exists():
        return _owner_of(cluster)
    for name in _CANDIDATES:
        try:
            entry = pwd.getpwnam(name)
        except KeyError:
            continue
        return Account(uid=entry.pw_uid, gid=entry.pw_gid, name=name, switched=True)
    message = (
        "PostgreSQL does not run as root, and this machine has neither an account 'postgres' nor "
        "'nobody' to run it as. Start the service as an ordinary user, or set DATABASE_URL."
    )
    raise StartError(message)


def _owner_of(cluster: Path) -> Account:
    """The account that owns the files of the database."""
    uid = cluster.stat().st_uid
    if uid == 0:
        message = (
            f"The database files in {cluster} belong to root, but PostgreSQL does not run as root."
            " Give them back to the account that made them."
        )
        raise StartError(message)
    try:
        entry = pwd.getpwuid(uid)
    except KeyError:
        message = f"The database files in {cluster} belong to account number {uid}, unknown here."
        raise StartError(message) from None
    return Account(uid=uid, gid=entry.pw_gid, name=entry.pw_name, switched=True)
