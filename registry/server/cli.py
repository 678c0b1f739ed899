"""The console script ``broodcount``: ``serve``, and every command of Django and of the apps."""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Sequence
from typing import Final

from django.core.exceptions import ImproperlyConfigured
from django.core.management import execute_from_command_line
from django.db import Error as DjangoDatabaseError

from registry.server.database_words import what_to_do
from registry.server.embedded import database_for_command
from registry.server.errors import InUseError, StartError
from registry.server.serving import Opening, serve
from registry.settings.environment import (
    OWNER_DATABASE_URL,
    THREAD_LIMITS,
    Environment,
    EnvironmentValueError,
    read_environment,
)

_SETTINGS: Final = "registry.settings.production"
_NEED_NO_DATABASE: Final = frozenset({"help", "version", "findstatic", "collectstatic"})
_NEED_TABLES: Final = frozenset(
    {
        "catalogue",
        "demo",
        "drafts",
        "audit",
        "erasures",
        "moderator",
        "exports",
        "pools",
        "published",
        "roles",
        "states",
        "traffic",
    }
)
"""Commands of ours that need tables: on the embedded database they bring it up to date first."""
_HELP_WORDS: Final = frozenset({"-h", "--help", "--version"})
_HIGHEST_PORT: Final = 65535
DEMO_BOARD: Final = "/watch/?species=marsh-lantern-gecko"
"""Where ``broodcount demo`` opens."""


def main(arguments: Sequence[str] | None = None) -> int:
    """Run a command and give its exit code; without ``DATABASE_URL``, on the embedded database."""
    words = list(sys.argv[1:] if arguments is None else arguments)
    for name, value in THREAD_LIMITS.items():
        os.environ.setdefault(name, value)
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", _SETTINGS)
    try:
        environment = read_environment(os.environ)
        if words[:1] == ["serve"]:
            options = _serve_options(words[1:])
            return serve(environment, host=options.host, port=options.port)
        if words[:1] == ["demo"] and not _HELP_WORDS & set(words):
            return _demo(words[1:], environment)
        return _manage(words, environment)
    except (StartError, EnvironmentValueError, ImproperlyConfigured) as error:
        print(f"broodcount: {error}", file=sys.stderr)
        return 1
    except DjangoDatabaseError as error:
        words_for_it = None if "--traceback" in words else what_to_do(error)
        if words_for_it is None:
            raise
        print(f"broodcount: {words_for_it}", file=sys.stderr)
        return 1
    except KeyboardInterrupt:
        print("broodcount: interrupted", file=sys.stderr)
        return 130


def _manage(words: list[str], environment: Environment) -> int:
    """Run a Django command, with the database that it needs."""
    line = ["broodcount", *words]
    asks_for_help = not words or bool(_HELP_WORDS & set(words))
    if words in ([], ["help"], ["--help"], ["-h"]):
        print("broodcount serve [--host HOST] [--port N]: run the service.\n")
    if words[:1] == ["demo"] and asks_for_help:
        print(
            "broodcount demo [--host HOST] [--port N]: fill, then run the service, open at the "
            "watch board.\nbroodcount demo --fill-only: fill, and no more. Both take:\n"
        )
    only_reads_files = words[:2] == ["catalogue", "check"]
    if (
        environment.database_url
        or asks_for_help
        or only_reads_files
        or words[0] in _NEED_NO_DATABASE
    ):
        # Commands are the operator's, and work as the owner of the tables.
        if environment.owner_database_url:
            os.environ["DATABASE_URL"] = environment.owner_database_url
        execute_from_command_line(line)
        return 0
    with database_for_command(
        environment.data_dir,
        command=f"broodcount {words[0]}",
        postgres_bin=environment.postgres_bin,
    ) as url:
        os.environ["DATABASE_URL"] = os.environ[OWNER_DATABASE_URL] = url
        if words[0] in _NEED_TABLES:
            execute_from_command_line(["broodcount", "migrate", "--verbosity", "0"])
        execute_from_command_line(line)
    return 0


def _demo(words: Sequence[str], environment: Environment) -> int:
    """Fill the invented species, then serve with its board open; ``--fill-only`` leaves it at that.

    A second run keeps the clutches that are there and opens the board again.
    """
    parser = argparse.ArgumentParser(prog="broodcount demo", add_help=False, allow_abbrev=False)
    parser.add_argument("--fill-only", action="store_true")
    _add_address(parser)
    options, rest = parser.parse_known_args(words)
    if options.fill_only:
        return _manage(["demo", *rest], environment)
    kept = [] if "--again" in rest else ["--keep"]
    opening = Opening(("demo", "--fill-only", *rest, *kept), page=DEMO_BOARD)
    try:
        return serve(environment, host=options.host, port=options.port, opening=opening)
    except InUseError as error:
        message = f"{error} To fill that one while it runs: broodcount demo --fill-only."
        raise StartError(message) from error


def _serve_options(words: Sequence[str]) -> argparse.Namespace:
    """Options of ``serve``."""
    parser = argparse.ArgumentParser(
        prog="broodcount serve",
        description=(
            "Start the database if DATABASE_URL is not set, bring it up to date, load the "
            "catalogue and answer requests until Ctrl-C or SIGTERM."
        ),
    )
    _add_address(parser)
    return parser.parse_args(words)


def _add_address(parser: argparse.ArgumentParser) -> None:
    """Where to listen."""
    parser.add_argument("--host", default="127.0.0.1", help="address to listen at (%(default)s)")
    parser.add_argument(
        "--port", type=_port, default=8000, help="port; 0 takes a free one (%(default)s)"
    )


def _port(text: str) -> int:
    """A port number."""
    if not text.isascii() or not text.isdecimal() or int(text) > _HIGHEST_PORT:
        message = f"read {text!r}, expected a port from 0 to {_HIGHEST_PORT}"
        raise argparse.ArgumentTypeError(message)
    return int(text)
