"""The open data: pooled counts of a species as CSV, and the descriptor of the package."""

from __future__ import annotations

import csv
import io
import json
import uuid
from collections.abc import Callable, Iterator, Mapping, Sequence
from itertools import groupby
from typing import Any, Final

from django.db import connection
from django.utils import timezone

from registry.api.files import MadeFile
from registry.catalogue.models import Species
from registry.catalogue.selectors import species_get, species_list
from registry.errors import NotFoundError
from registry.exports.bridge import Configuration, counted_clutches
from registry.exports.choices import (
    COLUMNS,
    FORMAT_VERSION,
    LICENCE,
    MERGED,
    PRIMARY_KEY,
    SEVERAL,
    Column,
)
from registry.exports.merging import Counts, Part, merged_rows
from registry.pools.choices import Source

_POOL_ROWS: Final = """
SELECT t.id, t.key, t.combination, t.n_factors, t.factors, r.version_id, r.content,
       array_agg(c.family ORDER BY c.family), array_agg(c.keeper_id ORDER BY c.family)
FROM pools_pooledtarget t
JOIN pools_poolrow r ON r.target_id = t.id
JOIN pools_contribution c ON c.target_id = t.id AND c.digest = r.digest
WHERE t.species_id = %(species)s AND t.source = %(source)s
GROUP BY t.id, r.id
ORDER BY t.n_factors, t.key COLLATE "C", t.id, r.digest
"""
"""Distinct pool rows with the families that are just so and their keepers: one statement, so that
all of it is of one moment."""

_MEDIA_TYPE: Final = "text/csv"


def pools_pieces(species_key: str) -> Iterator[bytes]:
    """The pooled counts of keepers' clutches of a species as CSV, piece by piece.

    Lines are in a fixed order, so the same counts give the same bytes.

    Raises
    ------
    NotFoundError
        No such species; raised by the call, before the first piece.
    """
    species = species_get(species_key)
    return _pieces(species.key)


def _pieces(species_key: str) -> Iterator[bytes]:
    yield _line([one.name for one in COLUMNS])
    for target, rows in _targets(species_key):
        parts = list(_parts(target, rows))
        for configuration, counts in merged_rows(parts):
            values = _values(counts, configuration)
            yield _line([species_key, *target[1:4], *values])


_Target = tuple[int, str, str, int, str]
_Row = Sequence[Any]


def _targets(species_key: str) -> Iterator[tuple[_Target, list[_Row]]]:
    with connection.chunked_cursor() as cursor:
        cursor.execute(_POOL_ROWS, {"species": species_key, "source": str(Source.KEEPERS)})
        for target, rows in groupby(cursor, key=lambda one: tuple(one[:5])):
            yield target, [one[5:] for one in rows]


def _parts(target: _Target, rows: Sequence[_Row]) -> Iterator[Part]:
    contents = [(version_id, json.loads(content)) for version_id, content, *_whose in rows]
    counted = counted_clutches(json.loads(target[4]), contents)
    for clutches, (*_content, families, keepers) in zip(counted, rows, strict=True):
        for family, keeper in zip(families, keepers, strict=True):
            for clutch in clutches:
                yield clutch, uuid.UUID(str(family)), uuid.UUID(str(keeper))


def _values(counts: Counts, configuration: Configuration | None) -> list[Any]:
    """Columns from ``configuration`` on; without a breakdown where few keepers reported."""
    head: list[str | None]
    if configuration is not None:
        head = [configuration.text, configuration.catalogue, configuration.sire, configuration.dam]
    else:
        is_one = len(counts.catalogues) == 1 and not counts.is_of_few
        head = [MERGED, min(counts.catalogues) if is_one else SEVERAL, None, None]

    def unless_few(value: Any) -> Any:
        return None if counts.is_of_few else value

    cells = json.dumps(dict(sorted(counts.cells.items())), ensure_ascii=False)
    return [
        *head,
        unless_few(len(counts.families)),
        counts.n_clutches,
        unless_few(counts.n_declared),
        counts.n_with_hit,
        unless_few(len(counts.keepers)),
        counts.n_hatchlings,
        counts.n_hits,
        counts.n_hits_possible,
        unless_few(counts.n_died),
        unless_few(counts.n_eggs_counted),
        unless_few(cells),
    ]


def _line(values: Sequence[Any]) -> bytes:
    """One line of CSV (RFC 4180); None is empty."""
    text = io.StringIO()
    csv.writer(text, lineterminator="\r\n").writerow(values)
    return text.getvalue().encode()


# --- the descriptor ---------------------------------------------------------------------------


def package_descriptor(
    path_of: Callable[[str], str], files: Mapping[str, MadeFile] | None = None
) -> dict[str, Any]:
    """The descriptor of the whole package, one resource a species of the catalogue.

    Parameters
    ----------
    path_of
        Gives the path of a species' file: a URL, or relative to the descriptor.
    files
        The files by species where they were made, to tell their size and SHA-256.

    ``created`` is the day: the moment of a count is nobody's business.

    Raises
    ------
    NotFoundError
        An empty catalogue: a package has one resource at least.

    References
    ----------
    Data Package 2.0, Data Resource, Table Dialect and Table Schema: https://datapackage.org
    """
    species = list(species_list().order_by("key"))
    if not species:
        raise NotFoundError("The catalogue has no species yet, so there are no counts to give out.")
    today = timezone.now().date()
    return {
        "$schema": "https://datapackage.org/profiles/2.0/datapackage.json",
        "name": "broodcount-pooled-counts",
        "title": "Clutch outcomes by combination and parents, pooled over keepers",
        "description": (
            "For every combination of up to three genes that a keeper's clutch could have shown: "
            "how many hatchlings showed which part of it, by what was stated of the parents. "
            "Behind each line stand three keepers or more; what fewer reported is merged, and "
            "where fewer reported the combination at all only its totals are told. One clutch "
            "counts for many combinations, so lines of different combinations can not be added."
        ),
        "version": FORMAT_VERSION,
        "created": f"{today.isoformat()}T00:00:00Z",
        "licenses": [LICENCE],
        "sources": [{"title": "Clutches reported to the registry by keepers, failures included"}],
        "resources": [
            _resource(one, path_of(one.key), files[one.key] if files else None) for one in species
        ],
    }


def _resource(species: Species, path: str, file: MadeFile | None) -> dict[str, Any]:
    made = {"bytes": file.n_bytes, "hash": f"sha256:{file.sha256}"} if file else {}
    return {
        "name": f"pools-{species.key}",
        "path": path,
        "type": "table",
        "title": f"Pooled counts of the {species.common_name}",
        "format": "csv",
        "mediatype": _MEDIA_TYPE,
        "encoding": "utf-8",
        **made,
        "dialect": {
            "delimiter": ",",
            "lineTerminator": "\r\n",
            "quoteChar": '"',
            "doubleQuote": True,
            "header": True,
        },
        "schema": {
            "fields": [_field(one) for one in COLUMNS],
            "missingValues": [""],
            "primaryKey": list(PRIMARY_KEY),
        },
    }


def _field(column: Column) -> dict[str, Any]:
    found: dict[str, Any] = {
        "name": column.name,
        "type": column.type,
        "description": column.description,
    }
    return found | ({"constraints": column.constraints} if column.constraints else {})
