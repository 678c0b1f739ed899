"""System checks: each one can fail, and a service as it should be has none."""

from __future__ import annotations

import os
import subprocess
import sys

import pytest

from registry.operation import checks
from registry.settings.environment import REPOSITORY


@pytest.fixture
def sound(settings, tmp_path):
    settings.BROODCOUNT_UNKNOWN_VARIABLES = ()
    settings.BROODCOUNT_HTTPS = True
    settings.BROODCOUNT_TRUSTED_PROXIES = 1
    settings.ALLOWED_HOSTS = ["registry.example", "localhost"]
    settings.SECRET_KEY = "k" * 50
    settings.BROODCOUNT_DATA_DIR = tmp_path / "made" / "later"
    settings.BROODCOUNT_RATE_LIMITS = True
    settings.BROODCOUNT_ADMIN = True
    settings.BROODCOUNT_SEPARATE_OWNER = True
    return settings


def found() -> list[str]:
    every = (*checks.ALWAYS, *checks.WHEN_DEPLOYED)
    return [message.id for check in every for message in check(None)]


def test_checks__find_nothing_in_a_sound_service(sound):
    assert found() == []


@pytest.mark.parametrize(
    ("name", "value", "code"),
    [
        ("BROODCOUNT_UNKNOWN_VARIABLES", ("BROODCOUNT_WORKER",), "E001"),
        ("ALLOWED_HOSTS", ["localhost", "127.0.0.1", "[::1]"], "E002"),
        ("SECRET_KEY", "k" * 49, "E003"),
        ("BROODCOUNT_TRUSTED_PROXIES", 0, "E004"),
        ("BROODCOUNT_DATA_DIR", "/dev/null/x", "E005"),
        ("BROODCOUNT_RATE_LIMITS", False, "W001"),
        ("BROODCOUNT_SEPARATE_OWNER", False, "W002"),
    ],
)
def test_check__finds_its_fault_and_no_other(sound, name, value, code):
    setattr(sound, name, value)
    assert found() == [f"broodcount.{code}"]


def test_moderation__is_not_opened_without_https(sound):
    sound.BROODCOUNT_HTTPS = False
    assert found() == ["broodcount.E006"]
    sound.BROODCOUNT_ADMIN = False
    assert found() == []


def test_unknown_variables__names_the_nearest(settings):
    settings.BROODCOUNT_UNKNOWN_VARIABLES = ("BROODCOUNT_RATE_LIMIT", "BROODCOUNT_ZZ")
    first, second = checks.unknown_variables(None)
    assert first.msg == (
        "The environment sets BROODCOUNT_RATE_LIMIT, which nothing reads."
        " Did you mean BROODCOUNT_RATE_LIMITS?"
    )
    assert second.msg == "The environment sets BROODCOUNT_ZZ, which nothing reads."


def run_check(tmp_path, **variables: str) -> subprocess.CompletedProcess[str]:
    """``broodcount check --deploy`` with nothing but these variables of ours."""
    kept = {k: v for k, v in os.environ.items() if not k.startswith("BROODCOUNT_")}
    kept.pop("DJANGO_SETTINGS_MODULE", None)
    url = os.environ["DATABASE_URL"]
    return subprocess.run(
        [sys.executable, "-m", "registry", "check", "--deploy", "--fail-level", "WARNING"],
        cwd=REPOSITORY,
        env=kept
        | {"BROODCOUNT_DATA_DIR": str(tmp_path), "DATABASE_URL": url}
        | {"BROODCOUNT_OWNER_DATABASE_URL": url}
        | variables,
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )


def test_check_deploy__is_clean_when_configured_by_the_environment(tmp_path):
    done = run_check(
        tmp_path,
        BROODCOUNT_HTTPS="on",
        BROODCOUNT_TRUSTED_PROXIES="1",
        BROODCOUNT_ALLOWED_HOSTS="registry.example",
        BROODCOUNT_LOG_FORMAT="json",
        BROODCOUNT_METRICS="on",
    )
    assert done.returncode == 0, done.stderr
    assert "identified no issues (2 silenced)" in done.stdout


def test_check_deploy__fails_when_it_is_not(tmp_path):
    done = run_check(tmp_path, BROODCOUNT_RATE_LIMITS="off", BROODCOUNT_HTTP="on")
    assert done.returncode == 1
    for code in ("broodcount.E001", "broodcount.W001", "security.W004", "security.W008"):
        assert code in done.stderr
    assert "Did you mean BROODCOUNT_HTTPS?" in done.stderr
