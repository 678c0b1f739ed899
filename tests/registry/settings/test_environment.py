"""Reading the environment."""

from __future__ import annotations

import os
import re
from pathlib import Path

import pytest

from registry.settings import environment
from registry.settings.environment import (
    OWN_PREFIX,
    VARIABLES,
    EnvironmentValueError,
    read_environment,
)


def test_read_environment__has_a_default_for_everything(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(os, "geteuid", lambda: 1000)
    monkeypatch.setenv("HOME", "/home/ann")
    read = read_environment({})
    assert read.database_url is None
    assert read.data_dir == Path("/home/ann/.local/share/broodcount")
    assert read.erasure_ledger == Path("/home/ann/.local/share/broodcount/erasures.txt")
    assert read.allowed_hosts == ("localhost", "127.0.0.1", "[::1]")
    assert (read.fixtures / "catalogue").is_dir()
    assert read.rate_limits is True
    assert (read.workers, read.threads) == (2, 4)
    assert (read.https, read.admin) == (False, False)
    assert (read.metrics, read.metrics_token, read.metrics_dir) == (False, None, None)
    assert read.log_format == "plain"
    assert read.owner_database_url is None
    assert read.unknown == ()
    assert (read.rate_keeper, read.rate_anonymous) == (600, 300)
    assert (read.daily_keepers, read.daily_clutches) == (100, 5000)
    assert (read.daily_revisions, read.daily_sign_ins) == (2000, 50)
    assert (read.trusted_proxies, read.idempotency_hours) == (0, 48)


def test_read_environment__roots_data_is_outside_its_home(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(os, "geteuid", lambda: 0)
    assert read_environment({"XDG_DATA_HOME": "/x"}).data_dir == Path("/var/lib/broodcount")


def test_read_environment__reads_what_is_set(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir("/")
    read = read_environment(
        {
            "DATABASE_URL": "postgresql://u@h/d",
            "BROODCOUNT_DATA_DIR": "some where",
            "BROODCOUNT_ERASURE_LEDGER": "elsewhere/ledger.txt",
            "BROODCOUNT_ALLOWED_HOSTS": "a.example, b.example,",
            "BROODCOUNT_RATE_LIMITS": "OFF",
            "BROODCOUNT_WORKERS": "3",
            "BROODCOUNT_RATE_KEEPER": "30",
            "BROODCOUNT_RATE_ANONYMOUS": "20",
            "BROODCOUNT_DAILY_KEEPERS": "3",
            "BROODCOUNT_DAILY_CLUTCHES": "40",
            "BROODCOUNT_DAILY_REVISIONS": "5",
            "BROODCOUNT_DAILY_SIGN_INS": "6",
            "BROODCOUNT_TRUSTED_PROXIES": "2",
            "BROODCOUNT_IDEMPOTENCY_HOURS": "24",
            "BROODCOUNT_SECRET_KEY": "",
            "BROODCOUNT_OWNER_DATABASE_URL": "postgresql://o@h/d",
            "BROODCOUNT_HTTPS": "on",
            "BROODCOUNT_ADMIN": "on",
            "BROODCOUNT_LOG_FORMAT": "JSON",
            "BROODCOUNT_METRICS": "on",
            "BROODCOUNT_METRICS_TOKEN": "x" * 20,
            "PROMETHEUS_MULTIPROC_DIR": "/m",
        }
    )
    assert read.database_url == "postgresql://u@h/d"
    assert read.data_dir == Path("/some where")
    assert read.erasure_ledger == Path("/elsewhere/ledger.txt")
    assert read.allowed_hosts == ("a.example", "b.example")
    assert read.rate_limits is False
    assert read.workers == 3
    assert (read.rate_keeper, read.rate_anonymous) == (30, 20)
    assert (read.daily_keepers, read.daily_clutches) == (3, 40)
    assert (read.daily_revisions, read.daily_sign_ins) == (5, 6)
    assert (read.trusted_proxies, read.idempotency_hours) == (2, 24)
    assert read.secret_key is None
    assert read.owner_database_url == "postgresql://o@h/d"
    assert (read.https, read.admin) == (True, True)
    assert read.log_format == "json"
    assert (read.metrics, read.metrics_token, read.metrics_dir) == (True, "x" * 20, Path("/m"))


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("BROODCOUNT_RATE_LIMITS", "no"),
        ("BROODCOUNT_WORKERS", "0"),
        ("BROODCOUNT_WORKERS", "-1"),
        ("BROODCOUNT_THREADS", "many"),
        ("BROODCOUNT_TRUSTED_PROXIES", "127.0.0.1"),
        ("BROODCOUNT_WORKERS", "1234567890"),
        ("BROODCOUNT_LOG_FORMAT", "xml"),
        ("BROODCOUNT_HTTPS", "yes"),
        ("BROODCOUNT_ADMIN", "yes"),
        ("BROODCOUNT_THREADS", "²"),
        ("BROODCOUNT_RATE_KEEPER", "0"),
        ("BROODCOUNT_DAILY_SIGN_INS", "0"),
        ("BROODCOUNT_RATE_ANONYMOUS", "1000000000"),
        ("BROODCOUNT_TRUSTED_PROXIES", "-1"),
        ("BROODCOUNT_IDEMPOTENCY_HOURS", "23"),
    ],
)
def test_read_environment__names_the_variable_it_cant_read(name: str, value: str) -> None:
    with pytest.raises(EnvironmentValueError, match=f"{name}: read '{value}', expected"):
        read_environment({name: value})


@pytest.mark.parametrize("token", ["short", "with a blank in twenty characters", "ü" * 20])
def test_read_environment__refuses_a_metrics_token_and_does_not_repeat_it(token: str) -> None:
    with pytest.raises(
        EnvironmentValueError, match="BROODCOUNT_METRICS_TOKEN: expected 20"
    ) as told:
        read_environment({"BROODCOUNT_METRICS_TOKEN": token})
    assert token not in str(told.value)


def test_read_environment__owner_needs_the_service_beside_it() -> None:
    with pytest.raises(EnvironmentValueError, match="without DATABASE_URL"):
        read_environment({"BROODCOUNT_OWNER_DATABASE_URL": "postgresql://o@h/d"})


def test_read_environment__names_what_it_does_not_know() -> None:
    given = {"BROODCOUNT_RATE_LIMIT": "on", "BROODCOUNT_AGE": "1", "PATH": "/", "BROODCOUNT_X": ""}
    assert read_environment(given).unknown == ("BROODCOUNT_AGE", "BROODCOUNT_RATE_LIMIT")


def test_variables__are_those_that_are_read() -> None:
    source = Path(environment.__file__).read_text()
    listed, _, reading = source.partition("class EnvironmentValueError")
    named = set(re.findall(r'"(BROODCOUNT_[A-Z_]+|DATABASE_URL)"', reading))
    named |= {"BROODCOUNT_OWNER_DATABASE_URL"} if "OWNER_DATABASE_URL)" in reading else set()
    assert named == set(VARIABLES)
    assert all(text and not text.endswith(".") for text in VARIABLES.values())
    assert OWN_PREFIX in listed
