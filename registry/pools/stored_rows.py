"""Pool rows read from the tables, each content once by every process."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from threading import Lock
from typing import Any, Final

from registry.catalogue.selectors import version_loaded
from registry.pools.bridge.rows import StoredRow, WeightedRow, stored_row
from registry.pools.models import PoolRow


def rows_of(found: Iterable[tuple[Any, str, int]]) -> dict[Any, list[WeightedRow]]:
    """Pool rows by what they belong to, from (owner, digest, number of families).

    In the order given, which every caller makes a fixed one: sums of the same rows then have the
    same last digit. Rows never change, so each process reads the content of one only once. A row
    that was emptied since it was listed is left out: its target is stale then, and is read again.
    """
    listed = list(found)
    known = _known_rows({digest for _owner, digest, _n in listed})
    rows: dict[Any, list[WeightedRow]] = defaultdict(list)
    for owner, digest, n_families in listed:
        if digest in known:
            rows[owner].append(WeightedRow(stored=known[digest], n_families=n_families))
    return rows


def _known_rows(digests: set[str]) -> dict[str, StoredRow]:
    with _LOCK:
        known = {digest: _ROWS[digest] for digest in digests if digest in _ROWS}
    if len(known) == len(digests):
        return known
    contents = PoolRow.objects.filter(digest__in=digests - known.keys()).values_list(
        "digest", "version_id", "content"
    )
    for digest, version_id, content in contents.iterator():
        if digest not in known:
            known[digest] = stored_row(version_loaded(version_id), content)
    with _LOCK:
        _ROWS.update(known)
        while len(_ROWS) > _MOST_ROWS:
            del _ROWS[next(iter(_ROWS))]
    return known


_ROWS: Final[dict[str, StoredRow]] = {}
_LOCK: Final = Lock()
_MOST_ROWS: Final = 100_000
