"""Evidence on one combination after each clutch, in order of arrival."""

from __future__ import annotations

import uuid
from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from registry.catalogue.bridge import LoadedSpecies, target_read
from registry.catalogue.selectors import names_elsewhere, species_loaded
from registry.clutches.selectors import informing_clutches
from registry.combinations.choices import MOST_POINTS
from registry.combinations.evidence import value_of
from registry.combinations.wording import WATCH_LEVEL
from registry.errors import NotFoundError, UnknownSpeciesError, at_parameter
from registry.pools.bridge import (
    WORK_OF_A_KNOWN_ROW,
    Pools,
    combination_text,
    family_row,
    pool_numbers,
    row_work,
    target_from_stored,
)
from registry.pools.choices import FEW_KEEPERS, Source
from registry.pools.models import Contribution, PooledTarget
from registry.pools.work import MOST_WORK


def history_answer(species_key: str, text: str, source: Source) -> dict[str, Any]:
    """The evidence over time; empty for one or two keepers, whose clutches it would tell apart.

    Raises
    ------
    NotFoundError
        No such species.
    FieldsError
        A text that is no combination of the species.
    """
    try:
        loaded = species_loaded(species_key)
    except UnknownSpeciesError as error:
        raise NotFoundError(error.message, **error.fields) from error
    with at_parameter("genes"):
        target = target_read(loaded, text, names_elsewhere(species_key))
    row = PooledTarget.objects.filter(species=species_key, source=source, key=target.key).first()
    hidden = row is not None and source == Source.KEEPERS and _n_keepers(row) < FEW_KEEPERS
    points, first = ([], 1) if row is None or hidden else _points(row)
    return {
        "species": species_key,
        "combination": combination_text(loaded.species, target),
        "threshold": WATCH_LEVEL,
        "points": points,
        "hidden": hidden,
        "first_clutch": first,
    }


def _n_keepers(row: PooledTarget) -> int:
    return Contribution.objects.filter(target=row).values("keeper").distinct().count()


@dataclass(frozen=True, slots=True)
class _Growth:
    """A clutch: its family's pool row before and with it, and the work of the latter."""

    number: int
    version_id: int
    former: Any
    row: Any
    work: int


def _points(row: PooledTarget) -> tuple[list[dict[str, Any]], int]:
    """The newest points, and the number of the first one among all clutches that inform.

    As many as ``MOST_POINTS``, and as ``MOST_WORK`` allows: each clutch that joins a family has
    all of the family summed anew, so large families cost more than the clutches they have.
    """
    informing = _informing(row)
    pools: dict[int, tuple[Any, Any, Counter[Any]]] = {}
    grown: list[_Growth] = []
    members: dict[uuid.UUID, list[Any]] = defaultdict(list)
    rows: dict[uuid.UUID, Any] = {}
    for number, (loaded, target, family, clutch) in enumerate(informing):
        pools.setdefault(loaded.version_id, (loaded.species, target, Counter()))
        members[family].append(clutch)
        new = family_row(members[family], target)
        if new is None:
            continue
        work = row_work(loaded.species, target, new)
        grown.append(_Growth(number, loaded.version_id, rows.get(family), new, work))
        rows[family] = new
    first = max(len(informing) - MOST_POINTS, _first_affordable(grown, n_rows=len(rows)), 0)
    found = []
    for one in grown:
        pool = pools[one.version_id][2]
        if one.former is not None:
            pool[one.former] -= 1
        pool[one.row] += 1
        if one.number >= first:
            found.append(_point(one.number + 1, pools))
    return found, first + 1


def _first_affordable(grown: Sequence[_Growth], *, n_rows: int) -> int:
    """Number of the clutch from which on the points can be computed; the last one always can."""
    left = MOST_WORK
    for one in reversed(grown):
        left -= one.work + n_rows * WORK_OF_A_KNOWN_ROW
        if left < 0:
            return min(one.number + 1, grown[-1].number)
    return 0


def _point(n_clutches: int, pools: Mapping[int, tuple[Any, Any, Counter[Any]]]) -> dict[str, Any]:
    live: Pools = [(species, one, +counts) for species, one, counts in pools.values() if +counts]
    numbers = pool_numbers(live)
    return {
        "clutches": n_clutches,
        "hatchlings": numbers.n_hatchlings,
        "hits": numbers.n_hits,
        "expected": numbers.expected,
        "e_value": value_of(numbers.log10_e_value),
    }


def _informing(row: PooledTarget) -> list[tuple[LoadedSpecies, Any, uuid.UUID, Any]]:
    """Clutches that inform a target, in order of arrival, with their family and version."""
    families = Contribution.objects.filter(target=row).values("family")
    found = []
    for loaded, family, clutch in informing_clutches(families):
        target = target_from_stored(loaded.species, row.factors)
        if target is not None and family_row([clutch], target) is not None:
            found.append((loaded, target, family, clutch))
    return found
