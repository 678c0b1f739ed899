"""Files of deploy/: scripts that fail loudly, settings that exist, a runbook that is true."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
from pathlib import Path
from typing import Any

import pytest
import yaml
from django.conf import settings
from django.core.management import get_commands

from registry.settings.environment import VARIABLES

DEPLOY = Path(settings.BASE_DIR) / "deploy"
RUNBOOK = (DEPLOY / "RUNBOOK.md").read_text()
MAKES_A_BACKUP = """#!/bin/sh
[ "$1" = backup ] || exit 9
[ ! -e "$2/broken" ] || { echo no space >&2; exit 1; }
n=$(ls -d "$2"/broodcount-* 2>/dev/null | wc -l)
made="$2/broodcount-2026010${n}T000000Z"
mkdir "$made" && echo d >"$made/database.dump" && echo c >"$made/checksums.txt" && echo "$made"
"""


@pytest.fixture
def checkout(tmp_path: Path) -> Path:
    """A checkout with a blank in its name, whose command makes folders only."""
    root = tmp_path / "check out"
    (root / "deploy").mkdir(parents=True)
    for name in ("backup", "restore"):
        shutil.copy(DEPLOY / name, root / "deploy" / name)
    command = root / ".venv" / "bin" / "broodcount"
    command.parent.mkdir(parents=True)
    command.write_text(MAKES_A_BACKUP)
    command.chmod(0o755)
    return root


def script(checkout: Path, name: str, *words: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        ["sh", str(checkout / "deploy" / name), *words],
        capture_output=True,
        text=True,
        timeout=30,
        check=False,
    )


def test_backup__keeps_the_newest(checkout, tmp_path):
    folder = tmp_path / "back ups"
    for _ in range(3):
        done = script(checkout, "backup", str(folder), "3")
        assert (done.returncode, done.stderr) == (0, "")
    (folder / "notes").mkdir()
    done = script(checkout, "backup", str(folder), "2")
    assert done.stdout.strip() == str(folder / "broodcount-20260103T000000Z")
    assert sorted(one.name for one in folder.iterdir() if one.is_dir()) == [
        "broodcount-20260102T000000Z",
        "broodcount-20260103T000000Z",
        "notes",
    ]


def test_backup__that_fails_says_so_and_removes_nothing(checkout, tmp_path):
    folder = tmp_path / "backups"
    assert script(checkout, "backup", str(folder)).returncode == 0
    (folder / "broken").touch()
    failed = script(checkout, "backup", str(folder), "1")
    assert failed.returncode == 1
    assert "no space" in failed.stderr
    assert "no backup was made" in failed.stderr
    assert (folder / "broodcount-20260100T000000Z").is_dir()


@pytest.mark.parametrize("keep", ["0", "-1", "all", ""])
def test_backup__reads_how_many_to_keep(checkout, tmp_path, keep):
    refused = script(checkout, "backup", str(tmp_path / "b"), keep)
    if keep:
        assert (refused.returncode, "expected how many" in refused.stderr) == (1, True)
    else:
        assert refused.returncode == 0  # as if it had been left out


def test_scripts__want_their_words(checkout):
    for name in ("backup", "restore"):
        refused = script(checkout, name)
        assert refused.returncode == 1
        assert f"{name}: expected: {name} " in refused.stderr
    assert "no folder" in script(checkout, "restore", "/nowhere").stderr


def test_restore__fails_when_the_command_does(checkout, tmp_path):
    failed = script(checkout, "restore", str(tmp_path))
    assert failed.returncode == 1
    assert "not done" in failed.stderr


def files() -> list[Path]:
    return [one for one in DEPLOY.rglob("*") if one.is_file() and "__pycache__" not in one.parts]


@pytest.mark.parametrize("file", files(), ids=lambda one: one.name)
def test_files__name_only_variables_that_exist(file):
    named = set(re.findall(r"BROODCOUNT_[A-Z_]*[A-Z]\b(?!\*)", file.read_text()))
    assert named - set(VARIABLES) == set()


def test_files__hold_no_secret():
    for file in files():
        found = re.findall(r"(?i)(?:password|secret_key|token)\s*[:=]\s*(\S+)", file.read_text())
        allowed = re.compile(r"\$|\.\.\.|'|:'|\"\$|`")
        assert [one for one in found if not allowed.match(one)] == [], file


def test_nginx__hands_on_one_address_and_logs_none():
    forward = (DEPLOY / "nginx" / "forward.conf").read_text()
    main = (DEPLOY / "nginx" / "broodcount.conf").read_text()
    assert re.findall(r"X-Forwarded-For (\S+);", forward) == ["$remote_addr"]
    assert "proxy_add_x_forwarded_for" not in forward + main
    (form,) = re.findall(r"log_format broodcount '(.*)';", main)
    assert set(re.findall(r"\$(\w+)", form)) == {
        "time_iso8601",
        "request_method",
        "status",
        "body_bytes_sent",
        "request_time",
    }
    assert set(re.findall(r"error_log \S+ (\w+);", main)) == {"crit"}
    assert re.search(r"location = /api/v1/clutches/bulk/ \{\s+client_max_body_size 30m;", main)


def test_runbook__explains_every_metric_of_ours():
    source = (Path(settings.BASE_DIR) / "registry" / "operation" / "metrics.py").read_text()
    names = set(re.findall(r'"(broodcount_\w+)"', source))
    assert len(names) == 5
    assert {name for name in names if f"`{name}" not in RUNBOOK} == set()


def test_runbook__covers_what_an_operator_has_to_do():
    for word in (
        *("Set up", "Start, stop, upgrade", "Back up", "Restore", "Secrets", "Moderate"),
        *("Disk full", "A stuck lock", "A flood", "Metrics", "erases again"),
    ):
        assert word in RUNBOOK, word


def test_image__runs_as_nobody_special_and_is_watched():
    text = (DEPLOY / "container" / "Containerfile").read_text()
    assert re.findall(r"^USER (\w+)$", text, re.MULTILINE) == ["broodcount"]
    assert "/health/live" in text.partition("HEALTHCHECK")[2]


# --- units and containers -----------------------------------------------------------------------


def test_units__run_what_is_there():
    for unit in (DEPLOY / "systemd").glob("*.service"):
        started = re.findall(r"^ExecStart(?:Pre)?=(.+)$", unit.read_text(), re.MULTILINE)
        assert started, unit
        for line in started:
            program, first, *_others = line.split()
            if program == "/bin/sh":
                assert (DEPLOY / first.removeprefix("/opt/broodcount/deploy/")).is_file(), line
            else:
                assert program == "/opt/broodcount/.venv/bin/broodcount"
                assert first in {*get_commands(), "serve"}, line


def test_upkeep__removes_all_that_runs_out():
    text = (DEPLOY / "systemd" / "broodcount-upkeep.service").read_text()
    for command in ("traffic sweep", "drafts sweep", "clearsessions", "states record"):
        assert f"/broodcount {command}\n" in text
        assert f"`{command}`" in RUNBOOK


@pytest.fixture
def compose() -> dict[str, Any]:
    found: dict[str, Any] = yaml.safe_load((DEPLOY / "container" / "compose.yaml").read_text())
    return found


def test_compose__mounts_what_is_there_or_what_its_head_asks_for(compose):
    head, _rest = (DEPLOY / "container" / "compose.yaml").read_text().split("\nservices:", 1)
    for service in compose["services"].values():
        for mount in service["volumes"]:
            source = mount.partition(":")[0]
            if not source.startswith("."):
                assert source in compose["volumes"]
            elif not (DEPLOY / "container" / source).is_file():
                assert f"folder {source.removeprefix('./')}" in head
        assert set(service["networks"]) <= set(compose["networks"])
        assert set(service.get("depends_on", ())) <= set(compose["services"])


def test_compose__asks_for_what_it_uses_and_opens_the_proxy_alone(compose):
    text = (DEPLOY / "container" / "compose.yaml").read_text()
    head, rest = text.split("\nservices:", 1)
    used = set(re.findall(r"\$\{(\w+)", rest))
    assert used == set(re.findall(r"^#   (\w+)=", head, re.MULTILINE))
    assert [name for name, one in compose["services"].items() if "ports" in one] == ["proxy"]
    assert compose["networks"]["inside"] == {"internal": True}
    # The stated locale makes initdb choose SQL_ASCII, which the provider then refuses.
    database = compose["services"]["database"]["environment"]
    assert "--encoding=UTF8" in database["POSTGRES_INITDB_ARGS"]
    assert os.access(DEPLOY / "container" / "make-web-role.sh", os.X_OK)


def test_image__copies_what_its_ignore_file_lets_in_and_no_secret():
    folder = DEPLOY / "container"
    steps = (folder / "Containerfile").read_text()
    lines = re.findall(r"^COPY (?!--)(.+)$", steps, re.MULTILINE)
    copied = {name for line in lines for name in line.split()[:-1]}
    rules = (folder / "Containerfile.dockerignore").read_text().splitlines()
    assert copied == {rule.removeprefix("!") for rule in rules if rule.startswith("!")}
    assert all((DEPLOY.parent / name).exists() for name in copied)
    # The last rule that fits a file holds.
    assert rules.index("deploy/container") > rules.index("!deploy")
    for name in (".env", "backups/", "certificates/"):
        assert f"/deploy/container/{name}" in (DEPLOY.parent / ".gitignore").read_text()
