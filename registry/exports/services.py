"""The open data written to a folder."""

from __future__ import annotations

import json
import os
import secrets
import shutil
from contextlib import ExitStack
from pathlib import Path
from typing import Final

from registry.api.files import MadeFile, made_file
from registry.catalogue.selectors import species_list
from registry.errors import ExportFolderError
from registry.exports.selectors import package_descriptor, pools_pieces

DESCRIPTOR: Final = "datapackage.json"


def export_write(folder: Path) -> list[str]:
    """Write the package to a folder: there in whole, or as it was. Returns the names of the files.

    The folder appears under its name when it is complete and on the disk. One that holds an
    earlier package, and nothing else, is replaced.

    Raises
    ------
    ExportFolderError
        A folder with anything else in it, or a path at which nothing can be written.
    NotFoundError
        An empty catalogue.
    """
    folder = folder.absolute()
    _check_replaceable(folder)
    draft = folder.with_name(f".{folder.name}.{secrets.token_hex(8)}")
    try:
        folder.parent.mkdir(parents=True, exist_ok=True)
        draft.mkdir()
        names = _write_files(draft)
        _put_in_place(draft, folder)
    except OSError as error:
        raise ExportFolderError(f"The package can not be written to {folder}: {error}.") from error
    finally:
        shutil.rmtree(draft, ignore_errors=True)
    return names


def _check_replaceable(folder: Path) -> None:
    """Refuse to replace what is no earlier package."""
    if not folder.exists():
        return
    if not folder.is_dir():
        raise ExportFolderError(f"{folder} is a file; name a folder.")
    found = {one.name for one in folder.iterdir()}
    ours = {name for name in found if name == DESCRIPTOR or _is_ours(name)}
    if found - ours or (found and DESCRIPTOR not in found):
        strange = sorted(found - ours) or sorted(found)
        raise ExportFolderError(
            f"{folder} holds {strange[0]!r}, which is no part of an earlier package. Name a new "
            "folder, or one with an earlier package."
        )


def _is_ours(name: str) -> bool:
    return name.startswith("pools-") and name.endswith(".csv")


def _write_files(draft: Path) -> list[str]:
    names = {one.key: f"pools-{one.key}.csv" for one in species_list().order_by("key")}
    with ExitStack() as opened:
        files: dict[str, MadeFile] = {}
        for key, name in names.items():
            files[key] = made_file(pools_pieces(key))
            opened.callback(files[key].content.close)
            with (draft / name).open("wb") as written:
                shutil.copyfileobj(files[key].content, written)
                written.flush()
                os.fsync(written.fileno())
        descriptor = package_descriptor(names.__getitem__, files)
    with (draft / DESCRIPTOR).open("w", encoding="utf-8") as text:
        json.dump(descriptor, text, ensure_ascii=False, indent=2)
        text.write("\n")
        text.flush()
        os.fsync(text.fileno())
    return [*names.values(), DESCRIPTOR]


def _put_in_place(draft: Path, folder: Path) -> None:
    """Give the draft its name; an earlier package comes back if that fails."""
    if not folder.exists():
        draft.rename(folder)
    else:
        former = draft.with_name(f"{draft.name}.former")
        folder.rename(former)
        try:
            draft.rename(folder)
        except OSError:
            former.rename(folder)
            raise
        shutil.rmtree(former)
    parent = os.open(folder.parent, os.O_RDONLY)
    try:
        os.fsync(parent)
    finally:
        os.close(parent)
