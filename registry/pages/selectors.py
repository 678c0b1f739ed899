"""What the pages read beside what the interface answers."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final
from uuid import UUID

from django.db.models import Q
from django.db.models.fields.json import KeyTextTransform, KeyTransform

from registry.catalogue.selectors import species_list
from registry.clutches.choices import DuplicateState
from registry.clutches.models import Clutch
from registry.clutches.selectors import clutch_list, duplicate_list
from registry.keepers.models import Keeper
from registry.pools.choices import Source
from registry.pools.models import PooledTarget

INFORMED_SHOWN: Final = 12
"""Most combinations that are named of one clutch."""


@dataclass(frozen=True, slots=True)
class SpeciesChoice:
    """A species to choose; an invented one is for looking around only."""

    key: str
    name: str
    is_invented: bool


def species_choices() -> list[SpeciesChoice]:
    """Every species that keepers report, by name, invented ones last. One statement."""
    rows = (
        species_list()
        .annotate(is_invented=_of_file("invented"), use=_of_file("use"))
        .values_list("key", "common_name", "is_invented", "use")
    )
    choices = [
        SpeciesChoice(key, name, is_invented == "true")
        for key, name, is_invented, use in rows
        if use in {None, "keepers"}
    ]
    return sorted(choices, key=lambda one: (one.is_invented, one.name))


def _of_file(name: str) -> KeyTextTransform:
    """A member of the part about the species, in the file that is in force."""
    return KeyTextTransform(name, KeyTransform("species", "current__content"))


def duplicates_waiting(keeper: Keeper) -> int:
    """Pairs of reports that wait for a word of this keeper. One statement."""
    unsaid = Q(later__keeper=keeper, later_says=None) | Q(earlier__keeper=keeper, earlier_says=None)
    return duplicate_list(keeper).filter(unsaid, state=DuplicateState.LIKELY).count()


def clutches_by_id(keeper: Keeper, ids: Iterable[UUID | None]) -> dict[UUID, Clutch]:
    """Those of some clutches that are the keeper's own. Two statements at most."""
    wanted = {one for one in ids if one is not None}
    return {one.pk: one for one in clutch_list(keeper).filter(pk__in=wanted)} if wanted else {}


@dataclass(frozen=True, slots=True)
class Informed:
    """Combinations that a clutch has a part in: the first of them by name, and how many others."""

    combinations: list[str]
    n_more: int


def informed_by(clutch: Clutch) -> Informed:
    """What a clutch informs, with others of its animals; the most surprising first.

    Nothing while the clutch is held back. One statement.
    """
    if clutch.is_duplicate or clutch.is_held:
        return Informed([], 0)
    rows = (
        PooledTarget.objects.filter(source=Source.KEEPERS, parts__family=clutch.family)
        .order_by("-log10_e_value", "n_factors", "combination", "pk")
        .values_list("combination", flat=True)
    )
    found = list(rows)
    return Informed(found[:INFORMED_SHOWN], max(len(found) - INFORMED_SHOWN, 0))
