"""Secrets kept in a file."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest

from registry.settings.secret import stored_secret


def test_stored_secret__is_made_once_and_closed_to_others(tmp_path: Path) -> None:
    file = tmp_path / "key"
    made = stored_secret(file)
    assert len(made) == 64
    assert stored_secret(file) == made
    assert file.stat().st_mode & 0o777 == 0o600
    assert stored_secret(tmp_path / "another") != made


def test_stored_secret__is_the_same_for_all_who_ask_at_once(tmp_path: Path) -> None:
    with ThreadPoolExecutor(8) as pool:
        assert len(set(pool.map(stored_secret, [tmp_path / "key"] * 32))) == 1
    assert [one.name for one in tmp_path.iterdir()] == ["key"]


def test_stored_secret__refuses_an_empty_file(tmp_path: Path) -> None:
    (tmp_path / "key").touch()
    with pytest.raises(ValueError, match="is empty"):
        stored_secret(tmp_path / "key")
