"""What the environment says, read once and checked."""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Final

REPOSITORY: Final = Path(__file__).resolve().parents[2]
ROOT_DATA_DIR: Final = Path("/var/lib/broodcount")
"""Data folder of a service that root starts: root's home is closed to the database's account."""

ERASURES: Final = "erasures.txt"
"""Name of the ledger of erasures in the data folder."""

THREAD_LIMITS: Final = {
    "OPENBLAS_NUM_THREADS": "1",
    "OMP_NUM_THREADS": "1",
    "MKL_NUM_THREADS": "1",
}
"""Set before numpy is imported: its short convolutions are many times slower when threaded."""


_MOST_DIGITS: Final = 9
"""More would not fit where the database counts."""


class EnvironmentValueError(ValueError):
    """A variable of the environment that can't be read; the text names it."""

    def __init__(self, variable: str, reason: str) -> None:
        super().__init__(f"{variable}: {reason}")
        self.variable = variable


@dataclass(frozen=True, slots=True)
class Environment:
    """The variables that the service knows, read."""

    database_url: str | None
    data_dir: Path
    postgres_bin: Path | None
    secret_key: str | None
    allowed_hosts: tuple[str, ...]
    erasure_ledger: Path
    fixtures: Path
    rate_limits: bool
    keeper_probation_days: int
    keeper_probation_clutches: int
    rate_keeper: int
    rate_anonymous: int
    daily_keepers: int
    daily_clutches: int
    daily_revisions: int
    trusted_proxies: int
    idempotency_hours: int
    workers: int
    threads: int


def read_environment(variables: Mapping[str, str]) -> Environment:
    """Read the variables; an empty one counts as not set.

    Raises
    ------
    EnvironmentValueError
        A number or a switch that can't be read.
    """
    read = {name: value for name, value in variables.items() if value.strip()}
    hosts = read.get("BROODCOUNT_ALLOWED_HOSTS", "localhost,127.0.0.1,[::1]")
    postgres_bin = read.get("BROODCOUNT_POSTGRES_BIN")
    data_dir = _data_dir(read)
    ledger = read.get("BROODCOUNT_ERASURE_LEDGER")
    return Environment(
        database_url=read.get("DATABASE_URL"),
        data_dir=data_dir,
        postgres_bin=Path(postgres_bin).absolute() if postgres_bin else None,
        secret_key=read.get("BROODCOUNT_SECRET_KEY"),
        allowed_hosts=tuple(host.strip() for host in hosts.split(",") if host.strip()),
        erasure_ledger=Path(ledger).expanduser().absolute() if ledger else data_dir / ERASURES,
        fixtures=Path(read.get("BROODCOUNT_FIXTURES", REPOSITORY / "fixtures")).absolute(),
        rate_limits=_switch(read, "BROODCOUNT_RATE_LIMITS", default=True),
        keeper_probation_days=_whole(read, "BROODCOUNT_KEEPER_PROBATION_DAYS", default=14, low=0),
        keeper_probation_clutches=_whole(
            read, "BROODCOUNT_KEEPER_PROBATION_CLUTCHES", default=2, low=0
        ),
        rate_keeper=_positive(read, "BROODCOUNT_RATE_KEEPER", default=600),
        rate_anonymous=_positive(read, "BROODCOUNT_RATE_ANONYMOUS", default=300),
        daily_keepers=_positive(read, "BROODCOUNT_DAILY_KEEPERS", default=100),
        daily_clutches=_positive(read, "BROODCOUNT_DAILY_CLUTCHES", default=5000),
        daily_revisions=_positive(read, "BROODCOUNT_DAILY_REVISIONS", default=2000),
        trusted_proxies=_whole(read, "BROODCOUNT_TRUSTED_PROXIES", default=0, low=0),
        # A day at least: a client in the field may be without a network that long.
        idempotency_hours=_whole(read, "BROODCOUNT_IDEMPOTENCY_HOURS", default=48, low=24),
        workers=_positive(read, "BROODCOUNT_WORKERS", default=2),
        threads=_positive(read, "BROODCOUNT_THREADS", default=4),
    )


def _data_dir(read: Mapping[str, str]) -> Path:
    """Folder of the embedded database, absolute."""
    if stated := read.get("BROODCOUNT_DATA_DIR"):
        return Path(stated).expanduser().absolute()
    if os.geteuid() == 0:
        return ROOT_DATA_DIR
    shared = read.get("XDG_DATA_HOME")
    return (Path(shared) if shared else Path.home() / ".local" / "share") / "broodcount"


def _switch(read: Mapping[str, str], name: str, *, default: bool) -> bool:
    """``on`` or ``off``."""
    word = read.get(name, "on" if default else "off").strip().lower()
    if word not in {"on", "off"}:
        raise EnvironmentValueError(name, f"read {word!r}, expected 'on' or 'off'.")
    return word == "on"


def _positive(read: Mapping[str, str], name: str, *, default: int) -> int:
    """A whole number, 1 or more."""
    return _whole(read, name, default=default, low=1)


def _whole(read: Mapping[str, str], name: str, *, default: int, low: int) -> int:
    """A whole number, ``low`` or more."""
    text = read.get(name, str(default)).strip()
    fits = text.isascii() and text.isdecimal() and len(text) <= _MOST_DIGITS
    if not fits or int(text) < low:
        raise EnvironmentValueError(name, f"read {text!r}, expected a whole number from {low} on.")
    return int(text)
