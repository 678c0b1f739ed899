"""``broodcount demo`` as a person uses it: fills, serves what it filled, opens on its board."""

from __future__ import annotations

import os
import shutil
import signal
import subprocess
import sys
import time
import urllib.request
from collections.abc import Iterator
from pathlib import Path

import psycopg
import pytest

from registry.server.address import database_url, recorded_server
from registry.server.orphans import _servers
from registry.settings.environment import REPOSITORY
from tests.factories.registry import GECKO, GECKO_FILE

pytestmark = pytest.mark.skipif(
    not Path("/proc/self/cwd").exists(), reason="counts processes in /proc"
)

BOARD = "The page to begin with: "


class Demo:
    """Runs the command on one data folder."""

    def __init__(self, folder: Path) -> None:
        self.data_dir = folder / "data dir"
        fixtures = folder / "fixtures" / "demo"
        fixtures.mkdir(parents=True)
        shutil.copy(GECKO_FILE, fixtures)
        left_out = {"DATABASE_URL", "DJANGO_SETTINGS_MODULE", "DISPLAY", "WAYLAND_DISPLAY"}
        self.environment = {k: v for k, v in os.environ.items() if k not in left_out} | {
            "BROODCOUNT_DATA_DIR": str(self.data_dir),
            "BROODCOUNT_WORKERS": "1",
            "BROODCOUNT_FIXTURES": str(fixtures.parent),
        }
        self.started: list[subprocess.Popen[str]] = []

    def start(self, *options: str) -> subprocess.Popen[str]:
        process = subprocess.Popen(
            [sys.executable, "-m", "registry", "demo", "--port", "0", *options],
            cwd=REPOSITORY,
            env=self.environment,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
            start_new_session=True,
        )
        self.started.append(process)
        return process

    def run(self, *options: str) -> subprocess.CompletedProcess[str]:
        return subprocess.run(
            [sys.executable, "-m", "registry", "demo", *options],
            cwd=REPOSITORY,
            env=self.environment,
            capture_output=True,
            text=True,
            timeout=120,
            check=False,
        )

    def n_clutches(self) -> int:
        """Clutches in the database, which has to run."""
        recorded = recorded_server(self.data_dir)
        assert recorded is not None
        with psycopg.connect(database_url(self.data_dir, recorded[1])) as connection:
            row = connection.execute("SELECT count(*) FROM clutches_clutch").fetchone()
        assert row is not None
        return int(row[0])

    def close(self) -> None:
        for process in self.started:
            if process.poll() is None:
                process.kill()
            process.communicate()


@pytest.fixture
def demo(tmp_path: Path) -> Iterator[Demo]:
    made = Demo(tmp_path)
    yield made
    made.close()


def opened(process: subprocess.Popen[str]) -> tuple[str, list[str]]:
    """Address that the command opens on, and what it told before."""
    told = []
    assert process.stdout is not None
    for line in process.stdout:
        if line.startswith(BOARD):
            return line.removeprefix(BOARD).strip(), told
        told.append(line)
    raise AssertionError(process.communicate())


def ended(process: subprocess.Popen[str], sent: signal.Signals) -> None:
    # As Ctrl-C does, to everything in the terminal's session.
    os.killpg(process.pid, sent)
    assert process.wait(40) == 0


def test_demo__opens_on_its_board_and_again_on_the_same_clutches(demo: Demo) -> None:
    small = ("--clutches", "8", "--keepers", "3")
    process = demo.start(*small)
    board, told = opened(process)
    assert board.endswith(f"/watch/?species={GECKO}")
    assert any("8 invented clutches of 3 invented keepers" in line for line in told)
    with urllib.request.urlopen(board, timeout=20) as answer:
        page = answer.read().decode()
    assert "<strong>Invented.</strong>" in page
    n_clutches = demo.n_clutches()
    assert n_clutches >= 8

    refused = demo.run(*small, "--port", "0")
    assert refused.returncode == 1
    assert f"process {process.pid}" in refused.stderr
    assert "broodcount demo --fill-only" in refused.stderr
    filled = demo.run("--fill-only", "--again", "--clutches", "2", "--keepers", "1")
    assert filled.returncode == 0, filled.stderr
    assert f"the board is at /watch/?species={GECKO}" in filled.stdout
    assert demo.n_clutches() == n_clutches + 2
    ended(process, signal.SIGINT)
    assert not _servers(demo.data_dir)

    process = demo.start(*small)
    _board, told = opened(process)
    assert any("are there already" in line for line in told)
    assert demo.n_clutches() == n_clutches + 2
    ended(process, signal.SIGTERM)


def test_demo__stopped_while_it_fills_leaves_nothing(demo: Demo) -> None:
    process = demo.start("--clutches", "100000")
    assert process.stdout is not None
    assert GECKO in process.stdout.readline()
    time.sleep(4)
    assert process.poll() is None
    began = time.monotonic()
    ended(process, signal.SIGINT)
    assert time.monotonic() - began < 20
    assert not _servers(demo.data_dir)

    process = demo.start("--clutches", "1", "--keepers", "1")
    _board, told = opened(process)
    assert any("1 invented clutch of 1 invented keeper." in line for line in told)
    assert demo.n_clutches() == 1
    ended(process, signal.SIGTERM)


def test_demo__that_can_not_fill_does_not_serve(demo: Demo) -> None:
    process = demo.start("--keepers", "0")
    assert process.wait(60) == 1
    assert process.stderr is not None
    told = process.stderr.read()
    assert "needs a keeper and a clutch" in told
    assert "'broodcount demo' failed" in told
    assert not _servers(demo.data_dir)
