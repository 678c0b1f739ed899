"""How often a call of one look became another one: read from the revisions."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Mapping, Sequence
from typing import Any

from django.db.models import Count, F, QuerySet, Sum

from registry.catalogue.selectors import species_loaded
from registry.errors import NotFoundError, UnknownSpeciesError
from registry.pools.choices import FEW_KEEPERS
from registry.pools.models import CallChange

_COUNTED = {"clutch__is_held": False, "clutch__is_duplicate": False}


def look_alike_list(species: str) -> QuerySet[CallChange, Any]:
    """Calls that changed, with hatchlings and keepers; those of three keepers or more.

    Raises
    ------
    NotFoundError
        No such species.
    """
    try:
        species_loaded(species)
    except UnknownSpeciesError as error:
        raise NotFoundError(error.message, **error.fields) from error
    changed = CallChange.objects.filter(species=species, **_COUNTED).exclude(called=F("became"))
    return (
        changed.values("called", "became")
        .annotate(hatchlings=Sum("count"), keepers=Count("keeper", distinct=True))
        .filter(keepers__gte=FEW_KEEPERS)
    )


def look_alike_answers(species: str, rows: Sequence[Mapping[str, Any]]) -> list[dict[str, Any]]:
    """Rows of the list with their shares and sheds. Two statements."""
    calls = {one["called"] for one in rows}
    seen = CallChange.objects.filter(species=species, called__in=calls, **_COUNTED)
    looked = {one["called"]: one["n"] for one in seen.values("called").annotate(n=Sum("count"))}
    by_sheds: dict[tuple[str, str], list[dict[str, int]]] = defaultdict(list)
    told = seen.exclude(sheds=None).values("called", "became", "sheds")
    for one in (
        told.annotate(n=Sum("count"), keepers=Count("keeper", distinct=True))
        .filter(keepers__gte=FEW_KEEPERS)
        .order_by("sheds")
    ):
        by_sheds[one["called"], one["became"]].append(
            {"sheds": one["sheds"] or 0, "hatchlings": one["n"]}
        )
    return [
        {
            "called": one["called"],
            "became": one["became"],
            "hatchlings": one["hatchlings"],
            "looked_again": looked[one["called"]],
            "share": one["hatchlings"] / looked[one["called"]],
            "keepers": one["keepers"],
            "by_sheds": by_sheds[one["called"], one["became"]],
        }
        for one in rows
    ]


def changes_of(species: Collection[str]) -> dict[str, list[tuple[str, str, int]]]:
    """Species -> (first call, later call, hatchlings), for the look-alike explanation's prior.

    The fewer-than-three rule holds here as well: what fewer saw moves no public number.
    """
    rows = (
        CallChange.objects.filter(species__in=species, **_COUNTED)
        .exclude(called=F("became"))
        .values("species_id", "called", "became")
        .annotate(hatchlings=Sum("count"), keepers=Count("keeper", distinct=True))
        .filter(keepers__gte=FEW_KEEPERS)
    )
    found: dict[str, list[tuple[str, str, int]]] = defaultdict(list)
    for one in rows:
        found[one["species_id"]].append((one["called"], one["became"], one["hatchlings"]))
    return found
