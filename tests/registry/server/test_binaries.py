"""Programs that another account can't reach."""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest

from registry.server.account import Account
from registry.server.binaries import _wheel_folders, binaries_for, find_binaries
from registry.server.embedded import owned_server
from registry.server.errors import StartError


def _account(*, switched: bool) -> Account:
    return Account(uid=65534, gid=65534, name="nobody", switched=switched)


@pytest.fixture
def copies() -> Iterator[Path]:
    """A folder that every account can enter, as a temporary one of pytest's is not."""
    with tempfile.TemporaryDirectory() as folder:
        Path(folder).chmod(0o711)
        yield Path(folder) / "copies"


def test_binaries_for__copies_what_the_account_cant_reach(
    tmp_path: Path, copies: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    found = find_binaries(forced=_wheel_folders()[0], wanted_major=None, database=tmp_path)
    monkeypatch.setattr(Account, "can_enter", lambda _self, folder: copies in folder.parents)
    assert binaries_for(found, account=_account(switched=False), copies=copies) is found
    copied = binaries_for(found, account=_account(switched=True), copies=copies)
    assert copies in copied.folder.parents
    assert not (copied.folder.parent / "include").exists()
    assert (copied.folder / "postgres").stat().st_mode & 0o777 == 0o755
    # Making a database takes the programs, their shared libraries and their data files.
    with owned_server(
        tmp_path / "data", command="test", postgres_bin=copied.folder, durable=False
    ) as (server, _):
        assert server.alive


def test_binaries_for__says_when_a_copy_cant_be_reached_either(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    found = find_binaries(forced=_wheel_folders()[0], wanted_major=None, database=tmp_path)
    monkeypatch.setattr(Account, "can_enter", lambda _self, _folder: False)
    with pytest.raises(StartError, match="can enter neither"):
        binaries_for(found, account=_account(switched=True), copies=tmp_path / "copies")


def test_can_enter__follows_the_mode_bits(tmp_path: Path) -> None:
    inner = tmp_path / "a" / "b"
    inner.mkdir(parents=True)
    (tmp_path / "a").chmod(0o700)
    assert not _account(switched=True).can_enter(inner)
    assert _account(switched=True).can_enter(Path("/"))
