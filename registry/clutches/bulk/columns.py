"""Columns of a table of clutches, and where the faults of a clutch stand in it."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from registry.api.nearest import nearest_names
from registry.clutches.choices import EGGS
from registry.errors import (
    MissingColumnError,
    Place,
    RegistryError,
    UnknownColumnError,
    UnreadableTableError,
)

COLUMNS: Final = (
    "species",
    "season",
    "sire",
    "sire_animal",
    "sire_unproven",
    "dam",
    "dam_animal",
    "dam_unproven",
    *EGGS,
    "hatchlings",
    "pairing",
    "clutch_code",
)
_ALWAYS: Final = ("species", "season", "hatchlings")
_PARENTS: Final = ("sire", "dam")


def column_named(header: str) -> str:
    """A header as columns are compared: ``Clutch Code`` is ``clutch_code``."""
    return re.sub(r"[\s_-]+", "_", header.strip().casefold())


def n_known(headers: Sequence[str]) -> int:
    """How many of the headers name a column."""
    return sum(column_named(one) in COLUMNS for one in headers)


def header_faults(headers: Sequence[str]) -> list[RegistryError]:
    """Everything that is wrong with a header; a table without a fault here is read row by row."""
    names = [column_named(one) for one in headers]
    faults: list[RegistryError] = []
    for place, (name, header) in enumerate(zip(names, headers, strict=True), 1):
        if not name:
            faults.append(
                UnreadableTableError(f"Column {place} has no name in the header.", column=header)
            )
        elif name not in COLUMNS:
            near = nearest_names(name, COLUMNS)
            faults.append(
                UnknownColumnError(column=header.strip(), known=COLUMNS, suggestions=near)
            )
        elif name in names[: place - 1]:
            faults.append(
                UnreadableTableError(
                    f"The header has the column {name!r} twice.", column=header.strip()
                )
            )
    needed = _ALWAYS if "pairing" in names else (*_ALWAYS, *_PARENTS)
    faults += [_missing(name) for name in needed if name not in names]
    return faults


def _missing(name: str) -> MissingColumnError:
    instead = "pairing" if name in _PARENTS else None
    return MissingColumnError(column=name, instead=instead, needed=(*_ALWAYS, *_PARENTS))


@dataclass(frozen=True, slots=True)
class Cell:
    """Where a fault stands in a row: the column, and the entry of a list in its cell, from 1."""

    column: str
    entry: int | None = None


def cell_of(place: Place) -> Cell | None:
    """The cell in which a place of a clutch's body is written; None for the clutch as a whole."""
    if not place:
        return None
    head, *rest = place
    column = str(head)
    if head == "eggs":
        return Cell(str(rest[0]) if rest else EGGS[0])
    if head in _PARENTS and rest and rest[0] in {"animal", "unproven"}:
        column = f"{head}_{rest.pop(0)}"
    entry = next((step for step in rest if isinstance(step, int)), None)
    return Cell(column, None if entry is None else entry + 1)
