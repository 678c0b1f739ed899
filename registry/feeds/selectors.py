"""Entries of the feeds."""

from __future__ import annotations

import uuid
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, time
from typing import Final

from django.db.models import Q, QuerySet

from registry.catalogue.bridge import CARE, NO_TRIALS, cautions_of_target, target_read
from registry.catalogue.models import Species
from registry.catalogue.selectors import (
    names_elsewhere,
    species_get,
    species_list,
    version_loaded,
)
from registry.combinations.selectors import combination_list, state_of, with_other_produced
from registry.errors import at_parameter
from registry.feeds.choices import MOST_ENTRIES, ON_BOARD
from registry.feeds.models import StateChange
from registry.feeds.wording import change_sentences, change_title
from registry.pools.bridge.rows import combination_text, target_from_stored
from registry.pools.choices import Source
from registry.pools.models import PooledTarget

_LONG_AGO: Final = date(2000, 1, 1)
_NAMESPACE: Final = uuid.UUID("8d3f1c52-6f0e-4d0b-9a57-0c6c2c2f8a41")
"""Of the identifiers of feeds: the same feed has the same one wherever it is served."""


@dataclass(frozen=True, slots=True)
class Entry:
    """A change of state. ``path`` is that of the answer: species and combination."""

    public_id: uuid.UUID
    title: str
    text: str
    day: date
    path: tuple[str, str]


@dataclass(frozen=True, slots=True)
class AtomFeed:
    """A feed: newest entries first; ``day`` is that of the newest one, or of the catalogue."""

    id: uuid.UUID
    title: str
    subtitle: str
    day: date
    entries: tuple[Entry, ...]


def midnight(day: date) -> datetime:
    """The beginning of a day; feeds tell times no finer."""
    return datetime.combine(day, time(), UTC)


def flags_feed(species_key: str | None) -> AtomFeed:
    """What came on the board of flags or left it, of one species or of all.

    Raises
    ------
    NotFoundError
        No such species.
    """
    species = species_get(species_key) if species_key is not None else None
    changes = StateChange.objects.filter(Q(before__in=ON_BOARD) | Q(after__in=ON_BOARD))
    if species is not None:
        changes = changes.filter(species=species.key)
    name = f"the {species.common_name}" if species else "all species"
    return _feed(
        about=f"flags/{species.key if species else ''}",
        title=f"Flags of {name}",
        subtitle="Combinations that came on watch, were flagged, or are so no more.",
        species=species,
        changes=changes,
    )


def combination_feed(species_key: str, text: str) -> AtomFeed:
    """Every change of state of one combination; without entries if nobody reported it.

    Raises
    ------
    NotFoundError
        No such species.
    FieldsError
        A text that is no combination of the species.
    """
    species = species_get(species_key)
    loaded = version_loaded(_version(species))
    with at_parameter("genes"):
        target = target_read(loaded, text, names_elsewhere(species_key))
    name = combination_text(loaded.species, target)
    return _feed(
        about=f"combinations/{species_key}/{target.key}",
        title=f"{name}, {species.common_name}",
        subtitle="How the state of this combination changed.",
        species=species,
        changes=StateChange.objects.filter(species=species_key, key=target.key),
    )


def _version(species: Species) -> int:
    """The version in force; a species without one is in no list."""
    if species.current_id is None:
        raise LookupError(f"{species.key} has no version in force")
    return species.current_id


def _feed(
    *,
    about: str,
    title: str,
    subtitle: str,
    species: Species | None,
    changes: QuerySet[StateChange],
) -> AtomFeed:
    known = {one.key: one for one in ([species] if species else species_list())}
    newest = list(
        changes.filter(source=Source.KEEPERS, species__in=known).order_by("-id")[:MOST_ENTRIES]
    )
    shown = _shown(newest, species)
    entries = []
    for one in newest:
        # Only the newest change of a combination tells today's numbers.
        now = shown.pop((one.species_id, one.key), None)
        entries.append(_entry(one, now, known[one.species_id]))
    return AtomFeed(
        id=uuid.uuid5(_NAMESPACE, about),
        title=title,
        subtitle=subtitle,
        day=entries[0].day if entries else _day_of_catalogue(known),
        entries=tuple(entries),
    )


def _day_of_catalogue(known: Mapping[str, Species]) -> date:
    """A day for a feed without entries that does not change with the clock."""
    days = [one.current.loaded_at.date() for one in known.values() if one.current]
    return max(days, default=_LONG_AGO)


def _shown(
    changes: Sequence[StateChange], species: Species | None
) -> dict[tuple[str, str], PooledTarget | None]:
    """The combinations of these changes as they are now; None where there are no reports."""
    found: dict[tuple[str, str], PooledTarget | None] = {
        (one.species_id, one.key): None for one in changes
    }
    own, keys = {one.species_id for one in changes}, {one.key for one in changes}
    every = combination_list(Source.KEEPERS, species.key if species else None)
    listed = with_other_produced(every)
    for one in listed.filter(species__in=own, key__in=keys):
        if (one.species_id, one.key) in found:
            found[one.species_id, one.key] = one
    return found


def _entry(change: StateChange, now: PooledTarget | None, species: Species) -> Entry:
    if now is not None and state_of(now) == change.after:
        text = change_sentences(change.before, change.after, now)
    else:
        text = change_sentences(change.before, change.after, None)
    return Entry(
        public_id=change.public_id,
        title=change_title(change.combination, change.after),
        text=" ".join((text, *_cautions(change, species))),
        day=change.recorded_on,
        path=(change.species_id, change.combination),
    )


def _cautions(change: StateChange, species: Species) -> list[str]:
    """Known concerns with their source, and that a shortage is no reason to breed more."""
    loaded = version_loaded(_version(species))
    target = target_from_stored(loaded.species, change.factors)
    cautions = cautions_of_target(loaded, target) if target else []
    found = [f"Caution ({one.about}): {one.text} Source: {one.source}." for one in cautions]
    if change.after in ON_BOARD:
        found.append(NO_TRIALS)
    elif cautions:
        found.append(CARE)
    return found
