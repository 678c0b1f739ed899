"""Everything of one keeper, as JSON or as a ZIP of CSV files.

An export is written into a temporary file in one snapshot of the database, then sent: it shows one
moment, a fault is answered as one instead of breaking off, and a slow reader holds no transaction.
Rows are read and written one after the other, so the memory does not grow with them.
"""

from __future__ import annotations

import datetime as dt
import hashlib
import json
import os
import shutil
import tempfile
from collections.abc import Callable, Iterator, Mapping
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from io import TextIOWrapper
from typing import IO, Any, Final
from zipfile import ZIP_DEFLATED, ZipFile

from django.db import connection, transaction
from rest_framework.utils.encoders import JSONEncoder

from registry.clutches.models import Opinion, Revision
from registry.clutches.selectors import (
    clutch_answer,
    clutch_list,
    draft_answer,
    draft_list,
    duplicate_answer,
    duplicate_list,
    opinion_answer,
    revision_answer,
)
from registry.keepers.models import Keeper
from registry.keepers.selectors import hold_answer, hold_list, today, token_answer, token_list
from registry.pairings.selectors import (
    animal_answer,
    animal_list,
    pairing_answer,
    pairing_list,
)
from registry.records.tables import Tables

_CHUNK: Final = 500
"""Rows read at a time; what hangs on them is read with them, in one statement a chunk."""
_IN_MEMORY: Final = 1_000_000
"""Bytes of an export that need no file."""

_PIECE: Final = 64 * 1024

Rows = Iterator[dict[str, Any]]


@dataclass(frozen=True, slots=True)
class Export:
    """A finished export, in pieces to send. It is closed after the last one, or by ``close``."""

    file: IO[bytes]
    n_bytes: int
    sha256: str

    def __iter__(self) -> Iterator[bytes]:
        while piece := self.file.read(_PIECE):
            yield piece
        self.close()

    def close(self) -> None:
        """Let go of the temporary file; also of one that was not sent to its end."""
        self.file.close()


# --- parts ------------------------------------------------------------------------------------


def _tokens(keeper: Keeper) -> Rows:
    """Tokens as their list shows them, but for which of them is in use."""
    for one in token_list(keeper).iterator(chunk_size=_CHUNK):
        answer = token_answer(one, current=None)
        del answer["current"]
        yield answer


def _animals(keeper: Keeper) -> Rows:
    """Animals as their list shows them, with what breeding has shown."""
    own = animal_list(keeper).order_by("species", "label")
    for one in own.iterator(chunk_size=_CHUNK):
        yield animal_answer(one)


def _pairings(keeper: Keeper) -> Rows:
    """Declared pairings as their list shows them, oldest first."""
    for one in pairing_list(keeper).order_by("declared_at", "pk").iterator(chunk_size=_CHUNK):
        yield pairing_answer(one)


def _clutches(keeper: Keeper) -> Rows:
    """Clutches with their hatchlings as their list shows them, oldest first."""
    for one in clutch_list(keeper).order_by("reported_at", "pk").iterator(chunk_size=_CHUNK):
        yield clutch_answer(one)


def _revisions(keeper: Keeper) -> Rows:
    """Every state of every clutch, oldest first."""
    own = Revision.objects.filter(clutch__keeper=keeper).select_related("clutch")
    for one in own.order_by("clutch", "number").iterator(chunk_size=_CHUNK):
        yield {"clutch": one.clutch_id, **revision_answer(one)}


def _opinions(keeper: Keeper) -> Rows:
    """Second opinions that this keeper gave on clutches of others."""
    own = Opinion.objects.filter(keeper=keeper).order_by("given_at", "pk")
    for one in own.iterator(chunk_size=_CHUNK):
        answer = opinion_answer(one)
        # Whether it was taken over is the other keeper's business.
        del answer["taken_over_as"]
        yield answer


def _duplicates(keeper: Keeper) -> Rows:
    """Pairs of reports that may be of one clutch, as their list shows them."""
    own = duplicate_list(keeper).order_by("found_at", "pk")
    for one in own.iterator(chunk_size=_CHUNK):
        yield duplicate_answer(keeper, one)


def _holds(keeper: Keeper) -> Rows:
    """When and why a moderator held the keeper's clutches, oldest first."""
    for one in hold_list(keeper).iterator(chunk_size=_CHUNK):
        yield hold_answer(one)


def _drafts(keeper: Keeper) -> Rows:
    """Reports begun on the pages and not handed in, as they were typed."""
    for one in draft_list(keeper).iterator(chunk_size=_CHUNK):
        yield draft_answer(one)


PARTS: Final[Mapping[str, Callable[[Keeper], Rows]]] = {
    "tokens": _tokens,
    "animals": _animals,
    "pairings": _pairings,
    "clutches": _clutches,
    "revisions": _revisions,
    "opinions": _opinions,
    "duplicates": _duplicates,
    "holds": _holds,
    "drafts": _drafts,
}
"""Name in the export -> rows of a keeper. A new part needs an entry here and a field of
``ExportSerializer``; its CSV files follow from its rows."""


# --- forms ------------------------------------------------------------------------------------


def export_json(keeper: Keeper) -> Export:
    """Everything as one JSON object: keeper, days, then each part as a list."""
    with _finished() as file, _snapshot():
        _write_json(file, keeper)
    return _export(file)


def export_zip(keeper: Keeper) -> Export:
    """Everything as CSV files in a ZIP: ``keeper.csv`` and, per part, one file or more."""
    with _finished() as file, _snapshot(), ZipFile(file, "w", ZIP_DEFLATED) as archive:
        for name, rows in {"keeper": _keeper, **PARTS}.items():
            with Tables(name) as tables:
                for row in rows(keeper):
                    tables.add(row)
                for table, text in tables.files():
                    with archive.open(f"{table}.csv", "w") as member:
                        shutil.copyfileobj(text, member)
    return _export(file)


def _keeper(keeper: Keeper) -> Rows:
    """The keeper itself, one row."""
    yield _head(keeper)


def _head(keeper: Keeper) -> dict[str, Any]:
    day: dt.date = today()
    return {"keeper": keeper.pk, "joined_on": keeper.joined_at.date(), "exported_on": day}


def _write_json(file: IO[bytes], keeper: Keeper) -> None:
    text = TextIOWrapper(file, encoding="utf-8", write_through=True)
    encoder = JSONEncoder(ensure_ascii=False, allow_nan=False)
    text.write(encoder.encode(_head(keeper)).removesuffix("}"))
    for name, rows in PARTS.items():
        text.write(f", {json.dumps(name)}: [")
        for number, row in enumerate(rows(keeper)):
            text.write(f"{', ' if number else ''}{encoder.encode(row)}")
        text.write("]")
    text.write("}")
    text.flush()
    text.detach()


@contextmanager
def _finished() -> Iterator[IO[bytes]]:
    """A temporary file without a name, which is closed if it is not finished."""
    with ExitStack() as unfinished:
        file: IO[bytes] = unfinished.enter_context(
            tempfile.SpooledTemporaryFile(max_size=_IN_MEMORY)
        )
        yield file
        unfinished.pop_all()


def _export(file: IO[bytes]) -> Export:
    n_bytes = file.seek(0, os.SEEK_END)
    file.seek(0)
    digest = hashlib.sha256()
    while piece := file.read(_PIECE):
        digest.update(piece)
    file.seek(0)
    return Export(file=file, n_bytes=n_bytes, sha256=digest.hexdigest())


@contextmanager
def _snapshot() -> Iterator[None]:
    """One moment of the database for all reads, unless a transaction has begun already."""
    is_outermost = not connection.in_atomic_block
    with transaction.atomic():
        if is_outermost:
            with connection.cursor() as cursor:
                cursor.execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ, READ ONLY")
        yield
