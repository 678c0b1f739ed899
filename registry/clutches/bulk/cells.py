"""A row of a table as the body of a clutch, the same that clutches/ takes."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, Final

from registry.clutches.bulk.hatchlings import hatchlings_read
from registry.clutches.choices import EGGS
from registry.errors import PlacedError

_WHOLE_NUMBER: Final = re.compile(r"-?[0-9]{1,9}")
_BETWEEN_GENES: Final = re.compile(r"[,;\n\r]+")

BracketedNames = Callable[[str], frozenset[str]]
"""Species -> what stands in round brackets in the names of its genes, without case."""


@dataclass(frozen=True, slots=True)
class ReadRow:
    """The body, and what could not be read for it; where a cell has a fault it is left out."""

    body: dict[str, Any]
    faults: tuple[PlacedError, ...]


def row_read(row: Mapping[str, str], bracketed: BracketedNames) -> ReadRow:
    """The body of a clutch from column -> text. What the words mean is not looked at here.

    An empty cell is a field that is not given. A number that is none stays the text it is, so
    that it is refused like any other wrong value of its field.
    """
    cells = {name: text.strip() for name, text in row.items() if text.strip()}
    species = cells.get("species", "")

    def is_name(words: str) -> bool:
        return words.strip().casefold() in bracketed(species)

    hatched = hatchlings_read(cells.get("hatchlings", ""), is_name)
    body: dict[str, Any] = {
        name: cells[name] for name in ("species", "pairing", "clutch_code") if name in cells
    }
    if "season" in cells:
        body["season"] = _number(cells["season"])
    for role in ("sire", "dam"):
        if parent := _parent(cells, role):
            body[role] = parent
    eggs = {name: _number(cells[name]) for name in EGGS if name in cells}
    if eggs:
        body["eggs"] = eggs
    # With one entry missing the others would be told under wrong numbers.
    body["hatchlings"] = [] if hatched.refusals else list(hatched.entries)
    faults = [PlacedError(error, ("hatchlings", place)) for place, error in hatched.refusals]
    return ReadRow(body, tuple(faults))


def _parent(cells: Mapping[str, str], role: str) -> dict[str, Any]:
    parent: dict[str, Any] = {}
    if role in cells:
        parent["genes"] = cells[role]
    if f"{role}_animal" in cells:
        parent["animal"] = cells[f"{role}_animal"]
    if unproven := cells.get(f"{role}_unproven"):
        names = (one.strip() for one in _BETWEEN_GENES.split(unproven))
        parent["unproven"] = [one for one in names if one]
    return parent


def _number(text: str) -> int | str:
    return int(text) if _WHOLE_NUMBER.fullmatch(text) else text
