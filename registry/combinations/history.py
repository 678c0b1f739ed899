"""Evidence on one combination after each clutch, in order of arrival."""

from __future__ import annotations

import uuid
from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django.db.models import Count, QuerySet, Sum
from django.db.models.functions import Coalesce

from registry.catalogue.bridge import LoadedSpecies, target_read
from registry.catalogue.selectors import names_elsewhere, species_loaded
from registry.clutches.selectors import informing_clutches, newest_families
from registry.combinations.choices import MOST_POINTS, MOST_READ
from registry.combinations.evidence import value_of
from registry.combinations.wording import WATCH_LEVEL
from registry.errors import NotFoundError, UnknownSpeciesError, at_parameter
from registry.pools.bridge.assessments import WORK_OF_A_KNOWN_ROW, pool_numbers, row_work
from registry.pools.bridge.rows import Pools, combination_text, family_row, target_from_stored
from registry.pools.choices import FEW_KEEPERS, Source
from registry.pools.models import Contribution, PooledTarget
from registry.pools.stored_rows import rows_of
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
    newest = _newest(row)
    pools = newest.pools
    grown: list[_Growth] = []
    members: dict[uuid.UUID, list[Any]] = defaultdict(list)
    rows: dict[uuid.UUID, Any] = {}
    for number, (loaded, target, family, clutch) in enumerate(newest.informing, newest.n_before):
        pools.setdefault(loaded.version_id, (loaded.species, target, Counter()))
        members[family].append(clutch)
        new = family_row(members[family], target)
        if new is None:
            continue
        work = row_work(loaded.species, target, new)
        grown.append(_Growth(number, loaded.version_id, rows.get(family), new, work))
        rows[family] = new
    n_rows = len(rows) + sum(len(pool) for _species, _target, pool in pools.values())
    n_all = newest.n_before + len(newest.informing)
    first = max(
        n_all - min(MOST_POINTS, newest.n_in_order), _first_affordable(grown, n_rows=n_rows), 0
    )
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


@dataclass(frozen=True, slots=True)
class _Newest:
    """What the newest points are made of.

    ``pools`` holds, by catalogue version, the families that none of the newest clutches belongs to,
    of ``n_before`` clutches. ``informing`` are all clutches of the other families in order of
    arrival; the last ``n_in_order`` of them are the newest of all that inform.
    """

    pools: dict[int, tuple[Any, Any, Counter[Any]]]
    n_before: int
    informing: list[tuple[LoadedSpecies, Any, uuid.UUID, Any]]
    n_in_order: int


def _newest(row: PooledTarget) -> _Newest:
    """A long history is not read to its beginning: of old families the pool rows are enough."""
    parts = Contribution.objects.filter(target=row)
    touched = newest_families(parts.values("family"), MOST_READ)
    old = parts.exclude(family__in=touched)
    n_before = old.aggregate(n=Coalesce(Sum("n_clutches"), 0))["n"]
    informing = []
    n_in_order = 0
    for n_to_come, (loaded, family, clutch) in _with_places(informing_clutches(touched)):
        target = target_from_stored(loaded.species, row.factors)
        if target is not None and family_row([clutch], target) is not None:
            informing.append((loaded, target, family, clutch))
            n_in_order += n_to_come < MOST_READ
    return _Newest(_pools_of_old(row, old), n_before, informing, n_in_order)


def _with_places(clutches: Iterable[Any]) -> list[tuple[int, Any]]:
    """Clutches in order of arrival, each with how many of them come after it."""
    listed = list(clutches)
    return [(len(listed) - 1 - place, one) for place, one in enumerate(listed)]


def _pools_of_old(
    row: PooledTarget, old: QuerySet[Contribution]
) -> dict[int, tuple[Any, Any, Counter[Any]]]:
    counted = old.values_list("target_id", "digest").annotate(n=Count("pk")).order_by("digest")
    pools: dict[int, tuple[Any, Any, Counter[Any]]] = {}
    for one in rows_of(counted).get(row.pk, ()):
        loaded = one.stored.loaded
        if loaded.version_id not in pools:
            target = target_from_stored(loaded.species, row.factors)
            pools[loaded.version_id] = (loaded.species, target, Counter())
        pools[loaded.version_id][2][one.stored.row] += one.n_families
    return pools
