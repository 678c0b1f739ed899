"""README's lines, typed as they stand, print what README prints."""

from __future__ import annotations

import doctest
import os
import re
import shutil
import subprocess
from pathlib import Path

import pytest
from django.conf import settings

from registry.catalogue.services import catalogue_load
from registry.settings.environment import VARIABLES

ROOT = Path(settings.BASE_DIR)
MARK = "=== end of the answer ==="


def walk_through() -> list[tuple[str, str]]:
    """(command, what it prints) for every ``$`` line, with its ``>`` lines, of console blocks."""
    steps: list[tuple[str, str]] = []
    text = (ROOT / "README.md").read_text()
    for block in re.findall(r"^```console\n(.*?)^```$", text, re.MULTILINE | re.DOTALL):
        for line in block.splitlines():
            if line.startswith("$ "):
                steps.append((line[2:], ""))
            elif line.startswith(">"):
                command, printed = steps[-1]
                steps[-1] = (f"{command}\n{line[2:]}", printed)
            else:
                command, printed = steps[-1]
                steps[-1] = (command, f"{printed}{line}\n")
    return steps


@pytest.mark.django_db(transaction=True)
def test_readme__walk_through_prints_what_it_says(live_server, tmp_path):
    assert shutil.which("curl"), "this test types README's lines, which call curl"
    for folder in ("catalogue", "demo"):
        catalogue_load(Path(settings.BROODCOUNT_FIXTURES) / folder)
    steps = walk_through()
    assert len(steps) >= 9
    lines = "\n".join(f"{command}\necho; echo '{MARK}'" for command, _printed in steps)
    script = lines.replace("http://127.0.0.1:8000", live_server.url)
    done = subprocess.run(
        ["bash", "-u", "-c", script],
        cwd=tmp_path,
        env={**os.environ, "no_proxy": "*"},
        capture_output=True,
        text=True,
        timeout=120,
        check=True,
    )
    assert done.stderr == ""
    answers = done.stdout.split(MARK)
    checker = doctest.OutputChecker()
    for (command, printed), answer in zip(steps, answers, strict=False):
        wanted = re.sub(r"^\s*\.\.\.\n", "...\n", printed, flags=re.MULTILINE).strip()
        got = answer.strip()
        assert checker.check_output(
            f"{wanted}\n", f"{got}\n", doctest.ELLIPSIS | doctest.NORMALIZE_WHITESPACE
        ), f"{command}\n--- README\n{wanted}\n--- printed\n{got}"


def test_readme__walk_through_test_can_fail():
    checker = doctest.OutputChecker()
    flags = doctest.ELLIPSIS | doctest.NORMALIZE_WHITESPACE
    assert not checker.check_output('{ ... "state": "watch" }\n', '{ "state": "early" }\n', flags)


def test_readme__names_every_setting_of_the_environment():
    text = (ROOT / "README.md").read_text()
    rows = dict(re.findall(r"^\| `([A-Z_]+)` \| (.+) \|$", text, re.MULTILINE))
    assert len(rows) >= 15
    assert rows == dict(VARIABLES)
