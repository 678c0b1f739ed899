"""The pools made anew from the clutches, to check what was kept up step by step, or to mend it."""

from __future__ import annotations

import uuid
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, Final

from django.db import connection, transaction
from django.db.models import F

from registry.catalogue.selectors import version_loaded
from registry.clutches.bridge.reports import contributions_of, family_clutch_of
from registry.clutches.models import COUNTED, Clutch
from registry.clutches.selectors import with_groups
from registry.clutches.services.families import components_of
from registry.keepers.services import keepers_lock
from registry.pools.choices import Source
from registry.pools.families import FamilyPart, PoolOwner, families_replace
from registry.pools.locks import targets_lock
from registry.pools.models import Contribution, PooledTarget, PoolRow

_MOST_TOLD: Final = 50


@dataclass(frozen=True, slots=True)
class RebuiltOwner:
    """All families of one keeper, or of the published crosses, under one catalogue version."""

    owner: PoolOwner
    parts: tuple[FamilyPart, ...]
    mixed: tuple[uuid.UUID, ...]


def pools_rebuilt() -> Iterator[RebuiltOwner]:
    """What every clutch that counts contributes, from the clutches alone."""
    groups = Clutch.objects.filter(COUNTED).order_by("keeper", "version")
    for keeper_id, version_id in groups.values_list("keeper_id", "version_id").distinct():
        loaded = version_loaded(version_id)
        own = Clutch.objects.filter(COUNTED, keeper=keeper_id, version=version_id)
        parts, mixed, taken = [], [], set()
        for component in components_of(list(with_groups(own))):
            family = component[0].family
            if family in taken or any(one.family != family for one in component):
                mixed.append(family)
                family = uuid.uuid4()
            taken.add(family)
            clutches = [family_clutch_of(loaded, one, one.group_values) for one in component]
            parts.append(FamilyPart(family, contributions_of(loaded, clutches)))
        source = Source.PUBLISHED if keeper_id is None else Source.KEEPERS
        owner = PoolOwner(loaded.key, source, version_id, keeper_id)
        yield RebuiltOwner(owner, tuple(parts), tuple(mixed))


def pools_differences() -> list[str]:
    """In what the stored pools differ from those made anew; empty if in nothing.

    Reads one state of the database, whatever is written meanwhile.
    """
    with transaction.atomic():
        if connection.in_atomic_block and not connection.savepoint_ids:
            with connection.cursor() as cursor:
                cursor.execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ, READ ONLY")
        return list(_differences())


def _differences() -> Iterator[str]:
    contributions: dict[tuple[Any, ...], tuple[Any, ...]] = {}
    rows: Counter[tuple[str, str, str, str]] = Counter()
    for rebuilt in pools_rebuilt():
        owner = rebuilt.owner
        for family in rebuilt.mixed:
            yield f"family {family}: its clutches are not just those that share an animal"
        for part in rebuilt.parts:
            for one in part.contributions:
                place = (owner.species, str(owner.source), one.target.key)
                said = one.contribution
                contributions[*place, part.family] = (
                    owner.keeper_id,
                    one.digest,
                    said.n_clutches,
                    said.n_declared,
                    said.n_clutches_with_hit,
                    said.n_hatchlings,
                    said.n_hits,
                    said.n_hits_possible,
                    said.first_hit_season,
                )
                rows[*place, one.digest] += 1
    place_names = ("target__species_id", "target__source", "target__key")
    stored = {
        tuple(one[:4]): tuple(one[4:])
        for one in Contribution.objects.values_list(
            *place_names,
            "family",
            "keeper_id",
            "digest",
            "n_clutches",
            "n_declared",
            "n_clutches_with_hit",
            "n_hatchlings",
            "n_hits",
            "n_hits_possible",
            "first_hit_season",
        )
    }
    yield from _told("contribution", contributions, stored)
    kept = {
        tuple(one[:4]): one[4]
        for one in PoolRow.objects.values_list(*place_names, "digest", "n_families")
    }
    yield from _told("pool row", dict(rows), kept)


def _told(what: str, expected: dict[Any, Any], stored: dict[Any, Any]) -> Iterator[str]:
    wrong = sorted(
        (str(place), expected.get(place), stored.get(place))
        for place in expected.keys() | stored.keys()
        if expected.get(place) != stored.get(place)
    )
    for place, right, found in wrong[:_MOST_TOLD]:
        yield f"{what} {place}: {found} is stored, {right} follows from the clutches"
    if len(wrong) > _MOST_TOLD:
        yield f"{what}: {len(wrong) - _MOST_TOLD} more differ"


_LOCK_CLUTCHES: Final = "LOCK TABLE clutches_clutch IN SHARE ROW EXCLUSIVE MODE"
"""After the keepers: who writes a clutch holds its keeper. It keeps out those who have no clutch
yet, and publications, which have no keeper."""


def pools_rebuild() -> int:
    """Replace every contribution and pool row by what the clutches say; the families written.

    One transaction, all keepers with clutches and the table of clutches locked: reports wait until
    it is done.
    """
    with transaction.atomic(), connection.cursor() as cursor:
        keepers_lock(
            Clutch.objects.exclude(keeper=None).values_list("keeper", flat=True).distinct()
        )
        cursor.execute(_LOCK_CLUTCHES)
        # In the order of all writers: readers who bring targets up to date are not kept out.
        targets_lock(list(PooledTarget.objects.values_list("pk", flat=True)))
        Contribution.objects.all().delete()
        PoolRow.objects.all().delete()
        PooledTarget.objects.update(revision=F("revision") + 1)
        n_families = 0
        for rebuilt in pools_rebuilt():
            if rebuilt.mixed:
                _families_set(rebuilt)
            families_replace(rebuilt.owner, parts=rebuilt.parts)
            n_families += len(rebuilt.parts)
        return n_families


def _families_set(rebuilt: RebuiltOwner) -> None:
    """Give the clutches of an owner the families that the parts were numbered with."""
    own = Clutch.objects.filter(
        COUNTED, keeper=rebuilt.owner.keeper_id, version=rebuilt.owner.version_id
    )
    for component, part in zip(components_of(list(with_groups(own))), rebuilt.parts, strict=True):
        own.filter(pk__in=[one.pk for one in component]).update(family=part.family)
