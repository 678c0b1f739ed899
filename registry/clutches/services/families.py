"""Family groups: which clutches share an animal, and what they contribute to the pools."""

from __future__ import annotations

import uuid
from collections import defaultdict
from collections.abc import Collection, Mapping, Sequence
from typing import Any, Final

from django.db import connection
from django.db.models import Q

from registry.catalogue.selectors import version_loaded
from registry.clutches.bridge.reports import (
    animal_identity,
    contributions_of,
    family_clutch_of,
)
from registry.clutches.models import COUNTED, Clutch
from registry.clutches.selectors import with_groups
from registry.pools.choices import Source
from registry.pools.families import FamilyPart, PoolOwner, families_replace


def families_renew(keeper_id: uuid.UUID, clutch_ids: Collection[uuid.UUID]) -> None:
    """Bring the families around these clutches of one keeper up to date, and their pools.

    Call it after whatever changed: calls, parents, whether a clutch counts. A fixed number of
    statements for each catalogue version that the clutches were read under.

    Notes
    -----
    The keeper is locked. For clutches that left the table there is ``families_left``.
    """
    own = Clutch.objects.filter(keeper=keeper_id)
    changed = own.filter(pk__in=clutch_ids)
    by_version: dict[int, list[Mapping[str, Any]]] = defaultdict(list)
    for one in changed.order_by("version_id").values(
        "version_id", "family", "sire_id", "dam_id", "pairing_id"
    ):
        by_version[one["version_id"]].append(one)
    for version_id, seeds in by_version.items():
        families_left(keeper_id, version_id, seeds)


def families_left(
    keeper_id: uuid.UUID, version_id: int, seeds: Sequence[Mapping[str, Any]]
) -> None:
    """Bring the families around some clutches of one version up to date.

    Parameters
    ----------
    seeds
        Of each clutch that changed, or was there: ``family``, ``sire_id``, ``dam_id``,
        ``pairing_id``.
    """
    animals = {one[role] for one in seeds for role in ("sire_id", "dam_id")} - {None}
    pairings = {one["pairing_id"] for one in seeds} - {None}
    counted = Clutch.objects.filter(COUNTED, keeper=keeper_id, version=version_id)
    near = counted.filter(
        Q(sire__in=animals) | Q(dam__in=animals) | Q(pairing__in=pairings)
    ).values("family")
    known = {one["family"] for one in seeds}
    members = list(with_groups(counted.filter(Q(family__in=known) | Q(family__in=near))))
    loaded = version_loaded(version_id)
    former = known | {one.family for one in members}
    taken: set[uuid.UUID] = set()
    parts: list[FamilyPart] = []
    moved: dict[uuid.UUID, uuid.UUID] = {}
    for component in components_of(members):
        family = next((one.family for one in component if one.family not in taken), uuid.uuid4())
        taken.add(family)
        moved |= {one.pk: family for one in component if one.family != family}
        clutches = [family_clutch_of(loaded, one, one.group_values) for one in component]
        parts.append(FamilyPart(family, contributions_of(loaded, clutches)))
    _move(moved)
    families_replace(
        PoolOwner(loaded.key, Source.KEEPERS, version_id, keeper_id), former=former, parts=parts
    )


_MOVE: Final = """
UPDATE clutches_clutch c SET family = moved.family
FROM unnest(%(ids)s::uuid[], %(families)s::uuid[]) AS moved (id, family)
WHERE c.id = moved.id
"""


def _move(moved: dict[uuid.UUID, uuid.UUID]) -> None:
    if not moved:
        return
    with connection.cursor() as cursor:
        cursor.execute(_MOVE, {"ids": list(moved), "families": list(moved.values())})


def components_of(clutches: Sequence[Any]) -> list[list[Any]]:
    """Clutches that share a parent, directly or through others; the order is kept."""
    root = list(range(len(clutches)))

    def top(place: int) -> int:
        while root[place] != place:
            root[place] = root[root[place]]
            place = root[place]
        return place

    first: dict[Any, int] = {}
    for place, one in enumerate(clutches):
        for role, animal in (("sire", one.sire_id), ("dam", one.dam_id)):
            identity = animal_identity(role, animal, one.pairing_id)
            if identity is None:
                continue
            one_end, other_end = sorted((top(first.setdefault(identity, place)), top(place)))
            root[other_end] = one_end
    found: dict[int, list[Any]] = defaultdict(list)
    for place, one in enumerate(clutches):
        found[top(place)].append(one)
    return list(found.values())
