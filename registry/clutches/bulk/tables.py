"""CSV (RFC 4180) row by row: separated by comma, semicolon or tab, line breaks in quoted cells.

One broken row costs one row: after a quote that is never closed, reading goes on in the next line.
"""

from __future__ import annotations

import csv
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Final

from registry.clutches.bulk.columns import n_known
from registry.clutches.bulk.lines import RawLine, ReplayedLines, too_long
from registry.clutches.choices import MAX_LINE_BYTES
from registry.errors import RegistryError, UnreadableTableError
from registry.wording import counted

SEPARATORS: Final = {",": "comma", ";": "semicolon", "\t": "tab"}
_BARE_RETURN: Final = (
    "A line ends in a carriage return alone. Save the table with line ends of Windows or Unix, "
    "as 'CSV UTF-8' does."
)


@dataclass(frozen=True, slots=True)
class Row:
    """A row as it was cut into cells, or why it was not; ``number`` is that of its first line."""

    number: int
    cells: tuple[str, ...] = ()
    refusal: RegistryError | None = None

    @property
    def is_blank(self) -> bool:
        """Whether nothing stands in it; spreadsheets leave such rows behind."""
        return self.refusal is None and not any(one.strip() for one in self.cells)


def rows_of(lines: Iterator[RawLine], separator: str) -> Iterator[Row]:
    """Every row but blank ones, broken ones as their refusals."""
    source = ReplayedLines(lines)
    for first in source:
        row = _row(first, source, separator)
        if not row.is_blank:
            yield row


def _row(first: RawLine, source: ReplayedLines, separator: str) -> Row:
    behind: list[RawLine] = []

    def texts() -> Iterator[str]:
        """Lines as far as the reader asks for them, which is to the end of an open cell."""
        line: RawLine | None = first
        size = 0
        while line is not None:
            size += len(line.content)
            if behind and (line.is_too_long or size > MAX_LINE_BYTES):
                raise _open_quote(first.number)
            yield line.text()
            line = next(source, None)
            if line is not None:
                behind.append(line)

    try:
        cells = next(csv.reader(texts(), delimiter=separator, strict=True))
    except csv.Error as error:
        refusal = _worded(error, first)
    except RegistryError as error:
        refusal = error
    else:
        return Row(first.number, tuple(cells))
    source.put_back(behind)
    return Row(first.number, refusal=refusal)


def _open_quote(number: int) -> RegistryError:
    return UnreadableTableError(
        f"A quote that opens a cell in line {number} is not closed within the {MAX_LINE_BYTES} "
        "bytes of a row. A quote inside a quoted cell is written twice."
    )


def _worded(error: csv.Error, first: RawLine) -> RegistryError:
    """The reader's refusal in our own words; it has three of them that can come up here."""
    said = str(error)
    if "new-line" in said:
        return UnreadableTableError(_BARE_RETURN)
    if "unexpected end" in said:
        return UnreadableTableError(
            f"A quote that opens a cell in line {first.number} is never closed. A quote inside a "
            "quoted cell is written twice."
        )
    if "field larger" in said:
        return too_long()
    return UnreadableTableError(
        "A quoted cell goes on behind its closing quote. A quote inside a quoted cell is written "
        "twice, and a separator follows the closing one."
    )


@dataclass(frozen=True, slots=True)
class Header:
    """The first row that is not blank, and the separator under which it names most columns."""

    number: int
    names: tuple[str, ...]
    separator: str


def header_of(open_lines: Callable[[], Iterator[RawLine]]) -> Header | None:
    """The header of a table; None if nothing stands in it.

    Columns without a name at the end are left out: spreadsheets write them for cells that were
    used once.

    Raises
    ------
    UnreadableTableError, LineTooLongError, UnreadableCharactersError
        A first row that can not be read as a header under any separator.
    """
    firsts = [(next(rows_of(open_lines(), one), None), one) for one in SEPARATORS]
    found = [(row, separator) for row, separator in firsts if row is not None]
    if not found:
        return None
    best, separator = max(found, key=lambda pair: (n_known(pair[0].cells), len(pair[0].cells)))
    if best.refusal is not None:
        raise best.refusal
    names = list(best.cells)
    while names and not names[-1].strip():
        names.pop()
    return Header(best.number, tuple(names), separator)


def fitting(row: Row, header: Header) -> Row:
    """The row with one cell for each column, or refused for having fewer or more.

    More cells than columns are no fault where nothing stands in the rest.
    """
    n_columns = len(header.names)
    rest = row.cells[n_columns:]
    if row.refusal is not None or (len(row.cells) >= n_columns and not any(map(str.strip, rest))):
        return Row(row.number, row.cells[:n_columns], row.refusal)
    name = SEPARATORS[header.separator]
    return Row(
        row.number,
        refusal=UnreadableTableError(
            f"The row has {counted(len(row.cells), 'cell')}, expected {n_columns}: one for each "
            f"column of the header, separated by a {name}. A cell that holds a {name}, a "
            "quote or a line break stands in double quotes.",
            cells=len(row.cells),
            columns=n_columns,
        ),
    )
