"""DEVELOPERS.md describes the tree that is there."""

from __future__ import annotations

import re
import subprocess
from pathlib import Path

from django.conf import settings

ROOT = Path(settings.BASE_DIR)
TEXT = (ROOT / "DEVELOPERS.md").read_text()
ALLOWED_AT_THE_TOP = {
    "README.md",
    "DEVELOPERS.md",
    "pyproject.toml",
    "requirements.lock",
    "registry",
    "genetics",
    "tests",
    "fixtures",
    "deploy",
}


def described() -> set[str]:
    """Folders and files that the tree names, as paths."""
    (tree,) = re.findall(r"## Where things are\n\n```\n(.*?)```", TEXT, re.DOTALL)
    found, top = set(), ""
    for line in tree.splitlines():
        match = re.match(r"( {0,2})([\w.]+/?) ", line)
        if match and not match[1]:
            top = match[2]
            found.add(top.rstrip("/"))
        elif match:
            found.add((top + match[2]).rstrip("/"))
    return found


def test_tree__everything_named_is_there():
    names = described()
    assert len(names) > 20
    assert {name for name in names if not (ROOT / name).exists()} == set()


def test_tree__every_package_is_named():
    packages = {
        f"{top}/{one.name}"
        for top in ("genetics", "registry")
        for one in (ROOT / top).iterdir()
        if one.is_dir() and (one / "__init__.py").exists()
    }
    assert packages <= described()


def test_top_level__holds_nothing_else():
    listed = subprocess.run(
        ["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=True
    ).stdout.split("\n")
    tops = {one.split("/")[0] for one in listed if one}
    assert {one for one in tops if not one.startswith(".")} <= ALLOWED_AT_THE_TOP


def test_decisions__are_dated():
    (part,) = re.findall(r"## Decisions\n(.*?)\n## ", TEXT, re.DOTALL)
    bullets = re.findall(r"^- (.*)$", part, re.MULTILINE)
    assert bullets
    assert all(re.match(r"\d{4}-\d{2}-\d{2} \*\*", one) for one in bullets)
