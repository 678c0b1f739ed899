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
    by_sheds: dict[tuple[str, str], list[Mapping[str, Any]]] = defaultdict(list)
    told = seen.values("called", "became", "sheds")
    for one in told.annotate(n=Sum("count"), keepers=Count("keeper", distinct=True)):
        by_sheds[one["called"], one["became"]].append(one)
    return [
        {
            "called": one["called"],
            "became": one["became"],
            "hatchlings": one["hatchlings"],
            "looked_again": looked[one["called"]],
            "share": one["hatchlings"] / looked[one["called"]],
            "keepers": one["keepers"],
            "by_sheds": [
                {"sheds": group["sheds"], "hatchlings": group["n"]}
                for group in _sheds_shown(by_sheds[one["called"], one["became"]])
            ],
        }
        for one in rows
    ]


def _sheds_shown(groups: Sequence[Mapping[str, Any]]) -> list[Mapping[str, Any]]:
    """Numbers of sheds that three keepers or more told of, fewest first.

    Since the total is public, what is left when all of these are taken from it is public too. So
    if one or two keepers may stand behind that, the group with the fewest is left out as well.
    """
    shown: list[Mapping[str, Any]] = []
    rest: list[Mapping[str, Any]] = []
    for one in groups:
        is_shown = one["sheds"] is not None and one["keepers"] >= FEW_KEEPERS
        (shown if is_shown else rest).append(one)
    if rest and shown and max(one["keepers"] for one in rest) < FEW_KEEPERS:
        shown.remove(min(shown, key=lambda one: (one["keepers"], one["n"], one["sheds"])))
    return sorted(shown, key=lambda one: int(one["sheds"]))


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
