"""Nested rows as flat CSV tables.

Members of objects become columns with a dotted name (``sire.genes``). A list of objects becomes a
table of its own, with the id of the row it belongs to and its place there; a list of plain values
is written into one cell. So nothing of a row is left out, whatever parts an export has.
"""

from __future__ import annotations

import csv
import json
import tempfile
from collections.abc import Iterator, Mapping
from contextlib import ExitStack
from io import TextIOWrapper
from types import TracebackType
from typing import IO, Any, Final, Self

from rest_framework.utils.encoders import JSONEncoder

_IN_MEMORY: Final = 1_000_000
_READ_AS_FORMULA: Final = ("=", "+", "-", "@", "\t", "\r", "\uff1d", "\uff0b", "\uff0d", "\uff20")
"""What a spreadsheet takes for the beginning of something to work out (OWASP, "CSV Injection")."""
_ENCODER: Final = JSONEncoder(ensure_ascii=False)


class Tables:
    """The tables that the rows of one part make; use it in a ``with`` block.

    Rows wait in temporary files, because the columns are known only after the last one.

    Parameters
    ----------
    name
        Name of the first table; others add the member they come from: ``clutches-hatchlings``.
    """

    def __init__(self, name: str) -> None:
        self._name = name
        self._open = ExitStack()
        self._waiting: dict[str, _Waiting] = {name: self._begin()}

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._open.close()

    def add(self, row: Mapping[str, Any]) -> None:
        """One more row, with everything in it."""
        # As JSON has it: days, times and ids as texts.
        self._add(self._name, json.loads(_ENCODER.encode(row)), {})

    def files(self) -> Iterator[tuple[str, IO[bytes]]]:
        """Each table's name and its CSV text (RFC 4180, UTF-8), at its beginning."""
        for name, waiting in self._waiting.items():
            with tempfile.SpooledTemporaryFile(max_size=_IN_MEMORY) as file:
                waiting.write_csv(file)
                file.seek(0)
                yield name, file

    def _begin(self) -> _Waiting:
        return _Waiting(self._open.enter_context(tempfile.SpooledTemporaryFile(_IN_MEMORY)))

    def _add(self, name: str, row: Mapping[str, Any], owner: Mapping[str, Any]) -> None:
        cells: dict[str, Any] = dict(owner)
        lists: dict[str, list[Any]] = {}
        _flatten(row, "", cells, lists)
        if name not in self._waiting:
            self._waiting[name] = self._begin()
        self._waiting[name].add(cells)
        own = {f"{name}.{key}": cells[key] for key in ("id", "place") if key in cells}
        for member, rows in lists.items():
            for place, inner in enumerate(rows):
                self._add(f"{name}-{member}", inner, {**owner, **own, "place": place})


def _flatten(
    row: Mapping[str, Any], before: str, cells: dict[str, Any], lists: dict[str, list[Any]]
) -> None:
    """Sort the members of an object into cells and lists of objects."""
    for key, value in row.items():
        name = f"{before}{key}"
        if isinstance(value, dict):
            _flatten(value, f"{name}.", cells, lists)
        elif isinstance(value, list) and all(isinstance(one, dict) for one in value):
            # An empty one may be of values as well; then its cell stays empty.
            lists[name] = value
        elif isinstance(value, list):
            cells[name] = json.dumps(value, ensure_ascii=False)
        else:
            cells[name] = value


class _Waiting:
    """Rows of one table as lines of JSON, and the columns seen so far, in order."""

    def __init__(self, file: IO[bytes]) -> None:
        self._file = file
        self._columns: dict[str, None] = {}

    def add(self, cells: Mapping[str, Any]) -> None:
        self._columns.update(dict.fromkeys(cells))
        self._file.write(json.dumps(cells, ensure_ascii=False).encode() + b"\n")

    def write_csv(self, file: IO[bytes]) -> None:
        """The rows under their columns; no columns if there is no row."""
        text = TextIOWrapper(file, encoding="utf-8", newline="", write_through=True)
        table = csv.DictWriter(text, list(self._columns), restval="")
        if self._columns:
            table.writeheader()
        self._file.seek(0)
        for line in self._file:
            table.writerow({key: _cell(one) for key, one in json.loads(line).items()})
        text.flush()
        text.detach()


def _cell(value: Any) -> Any:
    """``true`` and ``false`` as in JSON, nothing for null, an apostrophe before a formula.

    These tables are for a spreadsheet, and not every word in them is the keeper's own: the basis of
    a second opinion that was taken over is somebody else's. The JSON has all texts as they are.
    """
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str) and value.startswith(_READ_AS_FORMULA):
        return f"'{value}"
    return value
