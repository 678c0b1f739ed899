"""A database for the whole run: the stated one, or an embedded one in a temporary folder."""

from __future__ import annotations

import contextlib
import os
import secrets
import shutil
import tempfile
from pathlib import Path
from typing import Any

import pytest
from django.conf import settings
from django.db import connections

from registry.server.embedded import owned_server
from registry.settings.base import ENVIRONMENT
from registry.settings.database import parse_database_url


def pytest_addoption(parser: pytest.Parser) -> None:
    """How often each call of the interface description is tried."""
    parser.addoption(
        "--examples", type=int, default=50, help="made-up calls of each operation (50)"
    )


@pytest.fixture(scope="session")
def django_db_setup(django_db_setup: None, django_db_blocker: Any) -> None:
    """Tests with transactions of their own empty every table afterwards, the audit trail too."""
    with django_db_blocker.unblock(), connections["default"].cursor() as cursor:
        cursor.execute("ALTER TABLE moderation_auditentry DISABLE TRIGGER moderation_audit_table")


@pytest.fixture(autouse=True)
def _no_sweeps_by_chance(monkeypatch: pytest.MonkeyPatch) -> None:
    """One call in `SWEEP_ONE_IN` removes what has run out, which is a statement more by chance."""
    monkeypatch.setattr(secrets, "randbelow", lambda below: below - 1)


_STARTED = pytest.StashKey[contextlib.ExitStack]()


@pytest.hookimpl(tryfirst=True)
def pytest_configure(config: pytest.Config) -> None:
    """Start the database once; the workers of xdist find its address in the environment."""
    if ENVIRONMENT.database_url or hasattr(config, "workerinput"):
        return
    with contextlib.ExitStack() as started:
        folder = Path(tempfile.mkdtemp(prefix="broodcount tests "))
        started.callback(shutil.rmtree, folder)
        _, url = started.enter_context(
            owned_server(
                folder, command="pytest", postgres_bin=ENVIRONMENT.postgres_bin, durable=False
            )
        )
        os.environ["DATABASE_URL"] = url
        started.callback(os.environ.pop, "DATABASE_URL")
        # Django was set up before this file was read.
        settings.DATABASES["default"] = parse_database_url(url)
        connections.settings = connections.configure_settings(settings.DATABASES)
        with contextlib.suppress(AttributeError):
            del connections["default"]
        config.stash[_STARTED] = started.pop_all()


def pytest_unconfigure(config: pytest.Config) -> None:
    """Stop it."""
    if (started := config.stash.get(_STARTED, None)) is not None:
        started.close()


@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Everything in ``tests/benchmarks`` is a benchmark."""
    benchmarks = config.rootpath / "tests" / "benchmarks"
    for item in items:
        if benchmarks in item.path.parents:
            item.add_marker(pytest.mark.bench)
