"""What the environment says, read once and checked."""

from __future__ import annotations

import os
import re
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


OWN_PREFIX: Final = "BROODCOUNT_"
OWNER_DATABASE_URL: Final = "BROODCOUNT_OWNER_DATABASE_URL"

VARIABLES: Final[Mapping[str, str]] = {
    "DATABASE_URL": "a PostgreSQL (15 or newer) to use instead of the embedded one",
    OWNER_DATABASE_URL: (
        "the same database as the role that owns its tables, for migrations and commands; "
        "default `DATABASE_URL`"
    ),
    "BROODCOUNT_DATA_DIR": (
        "folder of the embedded database and of files that are kept; default "
        "`~/.local/share/broodcount`, for root `/var/lib/broodcount`"
    ),
    "BROODCOUNT_POSTGRES_BIN": (
        "folder of the PostgreSQL programs, if they shall not be looked for"
    ),
    "BROODCOUNT_SECRET_KEY": (
        "signs the cursors of lists, seals the cookies of the pages; made and kept in the "
        "data folder if not set"
    ),
    "BROODCOUNT_ALLOWED_HOSTS": ("names the service answers to, by comma; default the local ones"),
    "BROODCOUNT_HTTPS": (
        "`on`: callers come by HTTPS through a proxy; plain HTTP is sent there; default `off`"
    ),
    "BROODCOUNT_TRUSTED_PROXIES": (
        "how many proxies stand before the service, the only way to it: their forwarding headers "
        "are believed; default 0"
    ),
    "BROODCOUNT_WORKERS": "processes of the web server; default 2",
    "BROODCOUNT_THREADS": "threads of each; default 4",
    "BROODCOUNT_FIXTURES": "folder of the catalogue and other files; default `fixtures`",
    "BROODCOUNT_ERASURE_LEDGER": (
        "file to which every erasure adds a line, for after a restore; default `erasures.txt` in "
        "the data folder"
    ),
    "BROODCOUNT_KEEPER_PROBATION_DAYS": (
        "days until a new keeper counts towards a flag; default 14, 0 lifts the whole probation"
    ),
    "BROODCOUNT_KEEPER_PROBATION_CLUTCHES": (
        "clutches that a keeper needs for that as well; default 2, 0 asks for none"
    ),
    "BROODCOUNT_ADMIN": ("`on` opens the pages of moderation at `/moderation/`; default `off`"),
    "BROODCOUNT_RATE_LIMITS": "`off` lifts all limits on calls, for benchmarks; default `on`",
    "BROODCOUNT_RATE_KEEPER": "calls a minute of one keeper; default 600",
    "BROODCOUNT_RATE_ANONYMOUS": "calls a minute of one address without a token; default 300",
    "BROODCOUNT_DAILY_KEEPERS": "keepers that may join from one address in a day; default 100",
    "BROODCOUNT_DAILY_CLUTCHES": "clutches that one keeper may report in a day; default 5000",
    "BROODCOUNT_DAILY_REVISIONS": "revisions that one keeper may make in a day; default 2000",
    "BROODCOUNT_DAILY_SIGN_INS": ("attempts to sign in from one address in a day; default 50"),
    "BROODCOUNT_IDEMPOTENCY_HOURS": (
        "how long the answer to an `Idempotency-Key` is kept; default 48, at least 24"
    ),
    "BROODCOUNT_LOG_FORMAT": (
        "`plain` (default), or `json`: one JSON object a line, and a line for each request"
    ),
    "BROODCOUNT_METRICS": "`on` serves Prometheus metrics at `/metrics`; default `off`",
    "BROODCOUNT_METRICS_TOKEN": (
        "what a scraper sends as bearer token, 20 characters or more; without it only programs on "
        "the same machine are answered"
    ),
}
"""Every variable that is ours, with what it is; the table in README has the same rows."""

METRICS_DIR: Final = "PROMETHEUS_MULTIPROC_DIR"
"""The metrics library's own variable; `broodcount serve` sets it for its web server."""

LOG_FORMATS: Final = ("plain", "json")
_SHORTEST_TOKEN: Final = 20
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
    owner_database_url: str | None
    data_dir: Path
    postgres_bin: Path | None
    secret_key: str | None
    allowed_hosts: tuple[str, ...]
    erasure_ledger: Path
    fixtures: Path
    admin: bool
    rate_limits: bool
    keeper_probation_days: int
    keeper_probation_clutches: int
    rate_keeper: int
    rate_anonymous: int
    daily_keepers: int
    daily_clutches: int
    daily_revisions: int
    daily_sign_ins: int
    trusted_proxies: int
    idempotency_hours: int
    workers: int
    threads: int
    https: bool
    log_format: str
    metrics: bool
    metrics_token: str | None
    metrics_dir: Path | None
    """Where the processes of one web server leave their numbers for each other."""
    unknown: tuple[str, ...]
    """Names that start like ours and are not: most likely misspelt."""


def read_environment(variables: Mapping[str, str]) -> Environment:
    """Read the variables; an empty one counts as not set.

    Raises
    ------
    EnvironmentValueError
        A number, a switch, a word or a token that can't be read.
    """
    read = {name: value for name, value in variables.items() if value.strip()}
    hosts = read.get("BROODCOUNT_ALLOWED_HOSTS", "localhost,127.0.0.1,[::1]")
    postgres_bin = read.get("BROODCOUNT_POSTGRES_BIN")
    data_dir = _data_dir(read)
    ledger = read.get("BROODCOUNT_ERASURE_LEDGER")
    return Environment(
        database_url=read.get("DATABASE_URL"),
        owner_database_url=_owner_database_url(read),
        data_dir=data_dir,
        postgres_bin=Path(postgres_bin).absolute() if postgres_bin else None,
        secret_key=read.get("BROODCOUNT_SECRET_KEY"),
        allowed_hosts=tuple(host.strip() for host in hosts.split(",") if host.strip()),
        erasure_ledger=Path(ledger).expanduser().absolute() if ledger else data_dir / ERASURES,
        fixtures=Path(read.get("BROODCOUNT_FIXTURES", REPOSITORY / "fixtures")).absolute(),
        admin=_switch(read, "BROODCOUNT_ADMIN", default=False),
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
        daily_sign_ins=_positive(read, "BROODCOUNT_DAILY_SIGN_INS", default=50),
        trusted_proxies=_whole(read, "BROODCOUNT_TRUSTED_PROXIES", default=0, low=0),
        # A day at least: a client in the field may be without a network that long.
        idempotency_hours=_whole(read, "BROODCOUNT_IDEMPOTENCY_HOURS", default=48, low=24),
        workers=_positive(read, "BROODCOUNT_WORKERS", default=2),
        threads=_positive(read, "BROODCOUNT_THREADS", default=4),
        https=_switch(read, "BROODCOUNT_HTTPS", default=False),
        log_format=_one_of(read, "BROODCOUNT_LOG_FORMAT", LOG_FORMATS),
        metrics=_switch(read, "BROODCOUNT_METRICS", default=False),
        metrics_token=_token(read, "BROODCOUNT_METRICS_TOKEN"),
        metrics_dir=Path(read[METRICS_DIR]) if METRICS_DIR in read else None,
        unknown=tuple(
            sorted(name for name in read if name.startswith(OWN_PREFIX) and name not in VARIABLES)
        ),
    )


def _owner_database_url(read: Mapping[str, str]) -> str | None:
    """Address for the owner of the tables; it says nothing without the service's own."""
    stated = read.get(OWNER_DATABASE_URL)
    if stated and "DATABASE_URL" not in read:
        raise EnvironmentValueError(
            OWNER_DATABASE_URL,
            "is set without DATABASE_URL, which the service itself would use; set both.",
        )
    return stated


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


def _one_of(read: Mapping[str, str], name: str, words: tuple[str, ...]) -> str:
    """One of the words; the first if not set."""
    word = read.get(name, words[0]).strip().lower()
    if word not in words:
        raise EnvironmentValueError(
            name, f"read {word!r}, expected {' or '.join(map(repr, words))}."
        )
    return word


def _token(read: Mapping[str, str], name: str) -> str | None:
    """A secret that can stand in a header; the text never repeats it."""
    token = read.get(name)
    if token is None:
        return None
    if len(token) < _SHORTEST_TOKEN or not re.fullmatch(r"[A-Za-z0-9._~+/=-]+", token):
        raise EnvironmentValueError(
            name,
            f"expected {_SHORTEST_TOKEN} or more of the characters A-Z a-z 0-9 . _ ~ + / = -",
        )
    return token


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
