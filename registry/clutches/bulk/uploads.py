"""An upload of many clutches: taken in whole, then read line by line.

It is taken in before anything is stored or answered. A client that first sends everything and then
reads would wait for ever on a service that stops reading while nobody takes its answers; and of
a row that was cut off in the middle nobody could tell that it was. What does not fit in a little
memory waits in a file.
"""

from __future__ import annotations

import json
from abc import ABC, abstractmethod
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import islice
from tempfile import SpooledTemporaryFile
from typing import IO, Any, ClassVar, Final

from registry.api.faults import Fault
from registry.api.parsers import refuse_no_text, strict_json_line
from registry.clutches.bulk.cells import BracketedNames, row_read
from registry.clutches.bulk.columns import cell_of, column_named, header_faults
from registry.clutches.bulk.lines import RawLine, raw_lines
from registry.clutches.bulk.tables import Header, Row, fitting, header_of, rows_of
from registry.clutches.choices import MAX_BULK_CLUTCHES
from registry.errors import (
    FieldsError,
    IncompleteBodyError,
    InvalidBodyError,
    PlacedError,
    TooManyLinesError,
)

_IN_MEMORY: Final = 1_000_000
_PIECE: Final = 64 * 1024
_MOST_SHOWN: Final = 200


@dataclass(frozen=True, slots=True)
class Reading:
    """The body of a clutch and what could not be read for it."""

    body: Any
    faults: tuple[PlacedError, ...] = ()


class Line(ABC):
    """One clutch of an upload. ``content`` is what it says, byte for byte the same when resent."""

    @property
    @abstractmethod
    def number(self) -> int:
        """Number of its first line in the upload, from 1."""

    @property
    @abstractmethod
    def content(self) -> bytes:
        """What the line says."""

    @abstractmethod
    def read(self, bracketed: BracketedNames) -> Reading:
        """Its body, not yet validated; refusals as `RegistryError`."""

    @abstractmethod
    def placed(self, fault: Fault) -> Fault:
        """The fault with its place as the sender of this form knows it."""


@dataclass(frozen=True)
class JsonLine(Line):
    """A line of JSON."""

    raw: RawLine

    @property
    def number(self) -> int:
        return self.raw.number

    @property
    def content(self) -> bytes:
        return self.raw.content.strip()

    def read(self, bracketed: BracketedNames) -> Reading:
        return Reading(strict_json_line(self.raw.checked().rstrip(b"\r\n")))

    def placed(self, fault: Fault) -> Fault:
        return fault


@dataclass(frozen=True)
class TableLine(Line):
    """A row of a table."""

    row: Row
    header: Header

    @property
    def number(self) -> int:
        return self.row.number

    @cached_property
    def cells(self) -> Mapping[str, str]:
        """Column -> text."""
        names = (column_named(one) for one in self.header.names)
        return dict(zip(names, self.row.cells, strict=False))

    @property
    def content(self) -> bytes:
        return json.dumps(sorted(self.cells.items())).encode()

    def read(self, bracketed: BracketedNames) -> Reading:
        if self.row.refusal is not None:
            raise self.row.refusal
        refuse_no_text(self.cells)
        read = row_read(self.cells, bracketed)
        return Reading(read.body, read.faults)

    def placed(self, fault: Fault) -> Fault:
        """The fault at its column, named as the header of the file names it."""
        cell = cell_of(fault.place or ())
        if cell is None:
            return replace(fault, place=None)
        written = {column_named(one): one.strip() for one in self.header.names}
        text = self.cells.get(cell.column)
        extras: dict[str, object] = {
            "column": written.get(cell.column, cell.column),
            "cell": text if text is None or len(text) <= _MOST_SHOWN else text[:_MOST_SHOWN],
        }
        spoken = f"column {extras['column']}"
        if cell.entry is not None:
            extras["entry"] = cell.entry
            spoken += f", entry {cell.entry}"
        return replace(fault, place=None, spoken=spoken, extras={**fault.extras, **extras})


@dataclass(frozen=True)
class Upload(ABC):
    """A body that was taken in whole. ``close`` lets go of it."""

    file: IO[bytes]
    media_type: ClassVar[str]
    what: ClassVar[str]

    @abstractmethod
    def lines(self) -> Iterator[Line]:
        """Every clutch, from the beginning; blank lines and rows are left out."""

    def check(self) -> None:
        """Refuse what is wrong with the upload as a whole, before anything is stored.

        Raises
        ------
        TooManyLinesError, InvalidBodyError
            More clutches than one upload may hold, or none.
        FieldsError
            Columns that are missing, unknown or there twice.
        """
        n_lines = sum(1 for _line in islice(self.lines(), MAX_BULK_CLUTCHES + 1))
        if n_lines > MAX_BULK_CLUTCHES:
            raise TooManyLinesError(limit=MAX_BULK_CLUTCHES)
        if not n_lines:
            raise InvalidBodyError(f"The body holds no clutch; expected {self.what}.")

    def close(self) -> None:
        """Let go of the file."""
        self.file.close()

    def raw(self) -> Iterator[RawLine]:
        """Lines from the beginning. Whoever starts anew ends what was read before."""
        self.file.seek(0)
        return raw_lines(self.file)


class JsonLinesUpload(Upload):
    """One clutch in each line."""

    media_type = "application/jsonl"
    what = "one clutch in JSON in each line"

    def lines(self) -> Iterator[Line]:
        return (JsonLine(one) for one in self.raw() if one.is_too_long or not one.is_blank)


class TableUpload(Upload):
    """One clutch in each row behind a header."""

    media_type = "text/csv"
    what = "a table with a header and one clutch in each row"

    @cached_property
    def header(self) -> Header | None:
        """The header; None for a body in which nothing stands."""
        return header_of(self.raw)

    def check(self) -> None:
        """Refuse a header that is not as expected as well."""
        if self.header is not None and (faults := header_faults(self.header.names)):
            raise FieldsError([PlacedError(one) for one in faults])
        super().check()

    def lines(self) -> Iterator[Line]:
        header = self.header
        if header is None:
            return
        for row in rows_of(self.raw(), header.separator):
            if row.number != header.number:
                yield TableLine(fitting(row, header), header)


def taken_in(stream: IO[bytes], n_stated: int | None) -> IO[bytes]:
    """The whole of a stream in a file of its own.

    Raises
    ------
    IncompleteBodyError
        The stream ended before ``n_stated`` bytes.
    """
    taken: IO[bytes] = SpooledTemporaryFile(max_size=_IN_MEMORY)  # noqa: SIM115 - handed on
    n_read = 0
    try:
        while piece := stream.read(_PIECE):
            n_read += taken.write(piece)
    except OSError as error:  # the connection is gone
        taken.close()
        raise IncompleteBodyError(read=n_read, stated=n_stated) from error
    if n_stated is not None and n_read < n_stated:
        taken.close()
        raise IncompleteBodyError(read=n_read, stated=n_stated)
    return taken
