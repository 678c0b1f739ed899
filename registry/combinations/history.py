"""Evidence on one combination after each clutch, in order of arrival."""

from __future__ import annotations

import uuid
from collections import Counter, defaultdict
from typing import Any

from registry.catalogue.bridge import LoadedSpecies, target_read
from registry.catalogue.selectors import names_elsewhere, species_loaded
from registry.clutches.selectors import informing_clutches
from registry.combinations.choices import MOST_POINTS
from registry.combinations.evidence import value_of
from registry.combinations.wording import WATCH_LEVEL
from registry.errors import NotFoundError, UnknownSpeciesError, at_parameter
from registry.pools.bridge import (
    Pools,
    combination_text,
    family_row,
    pool_numbers,
    target_from_stored,
)
from registry.pools.choices import FEW_KEEPERS, Source
from registry.pools.models import Contribution, PooledTarget


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


def _points(row: PooledTarget) -> tuple[list[dict[str, Any]], int]:
    """The newest points, and the number of the first one among all clutches that inform."""
    informing = _informing(row)
    first = max(0, len(informing) - MOST_POINTS)
    members: dict[uuid.UUID, list[Any]] = defaultdict(list)
    rows: dict[uuid.UUID, Any] = {}
    pools: dict[int, tuple[Any, Any, Counter[Any]]] = {}
    found = []
    for number, (loaded, target, family, clutch) in enumerate(informing):
        pool = pools.setdefault(loaded.version_id, (loaded.species, target, Counter()))[2]
        members[family].append(clutch)
        new = family_row(members[family], target)
        if new is None:
            continue
        if family in rows:
            pool[rows[family]] -= 1
        pool[new] += 1
        rows[family] = new
        if number < first:
            continue
        live: Pools = [
            (species, one, +counts) for species, one, counts in pools.values() if +counts
        ]
        numbers = pool_numbers(live)
        found.append(
            {
                "clutches": number + 1,
                "hatchlings": numbers.n_hatchlings,
                "hits": numbers.n_hits,
                "expected": numbers.expected,
                "e_value": value_of(numbers.log10_e_value),
            }
        )
    return found, first + 1


def _informing(row: PooledTarget) -> list[tuple[LoadedSpecies, Any, uuid.UUID, Any]]:
    """Clutches that inform a target, in order of arrival, with their family and version."""
    families = Contribution.objects.filter(target=row).values("family")
    found = []
    for loaded, family, clutch in informing_clutches(families):
        target = target_from_stored(loaded.species, row.factors)
        if target is not None and family_row([clutch], target) is not None:
            found.append((loaded, target, family, clutch))
    return found
