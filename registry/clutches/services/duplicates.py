"""Two reports of one clutch: found when the later one arrives, told apart by their keepers."""

from __future__ import annotations

import uuid
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, Final

from django.db import transaction
from django.db.models import BooleanField, ExpressionWrapper, Q

from registry.clutches.bridge.reports import ReadClutch
from registry.clutches.bridge.revisions import duplicate_chance, is_equal_tally, twin_digest
from registry.clutches.choices import DuplicateReason, DuplicateState
from registry.clutches.models import Clutch, LikelyDuplicate
from registry.clutches.selectors import duplicate_get, with_groups
from registry.clutches.services.alike_locks import alike_lock, alike_lock_of
from registry.clutches.services.copies import Copy, copies_settle, keepers_around
from registry.keepers.models import Keeper
from registry.keepers.services import keepers_lock
from registry.pairings.models import Pairing

LIKELY: Final = 0.5
"""From this chance on a report waits until somebody tells it apart from the earlier one."""

_MOST_TWINS: Final = 200


def copies_lock(given: Mapping[str, Any], read: ReadClutch) -> None:
    """Have two reports of one clutch see each other, and a report whatever is done to the other.

    Before any keeper is locked. One statement, or none if nothing can be found.
    """
    if keys := [one for one in _found_by(given, read) if one]:
        alike_lock(keys)


def _found_by(given: Mapping[str, Any], read: ReadClutch) -> tuple[str, str]:
    """Clutch code and twin digest by which an earlier report is looked for; "" for none."""
    has_eggs = (given.get("eggs") or {}).get("laid") is not None and read.n_hatchlings > 0
    return given.get("clutch_code") or "", twin_digest(read, given["season"]) if has_eggs else ""


def earlier_report(
    keeper_id: uuid.UUID,
    given: Mapping[str, Any],
    read: ReadClutch,
    animals: Mapping[str, uuid.UUID | None],
    pairing: Pairing | None,
) -> Copy | None:
    """The earlier report that a new one repeats; None if there is none.

    One with the same clutch code, species and season is taken for the same clutch: whoever shares a
    code says so. Else parents' genes, season and eggs must agree, and all calls but one. Without
    the number of eggs laid nothing is compared, and nothing is asked of the database.

    One statement; the caller has called ``copies_lock``.
    """
    code, twin = _found_by(given, read)
    if not code and not twin:
        return None
    eggs = given.get("eggs") or {}
    same_code = Q(clutch_code=code, version__species=read.loaded.key, season=given["season"])
    wanted = (same_code if code else Q()) | (Q(twin=twin) if twin else Q())
    earlier = with_groups(Clutch.objects.filter(wanted, published=None, is_duplicate=False))
    if code:
        # However many have the same parents, the one with the code is among those looked at.
        earlier = earlier.alias(has_code=ExpressionWrapper(same_code, BooleanField())).order_by(
            "-has_code", "reported_at", "pk"
        )
    found = list(earlier[:_MOST_TWINS])
    own = _Own(keeper_id, animals, pairing.pk if pairing else None)
    # One that counts goes before one that is held, in whose place it may stand.
    found = sorted(
        (one for one in found if not own.is_of_other_animals(one)), key=lambda one: one.is_held
    )
    for one in found:
        if code and one.clutch_code == code and one.season == given["season"]:
            return Copy(one.pk, DuplicateReason.CODE, DuplicateState.CONFIRMED, 1.0, one.is_held)
    twins = [one for one in found if twin and one.twin == twin]
    alike = [one for one in twins if not _eggs_differ(one, eggs)]
    n_equal = sum(is_equal_tally(read, one.group_values) for one in alike)
    best: Copy | None = None
    for one in alike:
        chance = duplicate_chance(read, one.group_values, n_twins=len(twins), n_equal=n_equal)
        if chance >= LIKELY and (best is None or chance > best.chance):
            best = Copy(
                one.pk,
                DuplicateReason.COUNTS,
                DuplicateState.LIKELY,
                chance,
                one.is_held,
                is_own=one.keeper_id == keeper_id,
            )
    return best


@dataclass(frozen=True, slots=True)
class _Own:
    """What is known of a new report's animals: a keeper's own labels tell animals apart."""

    keeper_id: uuid.UUID
    animals: Mapping[str, uuid.UUID | None]
    pairing_id: uuid.UUID | None

    def is_of_other_animals(self, other: Clutch) -> bool:
        """Whether the same keeper named other animals, or declared another pairing."""
        if other.keeper_id != self.keeper_id:
            return False
        named = (self.animals["sire"], self.animals["dam"], self.pairing_id)
        # Animals without a label are other ones each time, as everywhere.
        return not any(named) or named != (other.sire_id, other.dam_id, other.pairing_id)


def _eggs_differ(one: Clutch, eggs: Mapping[str, int | None]) -> bool:
    known = (one.eggs_laid, one.eggs_infertile, one.eggs_died)
    given = tuple(eggs.get(name) for name in ("laid", "infertile", "died"))
    if known[0] != given[0]:
        return True
    pairs = zip(known[1:], given[1:], strict=True)
    return any(None not in pair and pair[0] != pair[1] for pair in pairs)


def duplicate_decide(
    keeper: Keeper,
    duplicate_id: uuid.UUID,
    *,
    same: bool,
    unchanged: Callable[[LikelyDuplicate], None] | None = None,
) -> LikelyDuplicate:
    """A keeper says whether two reports are of one clutch.

    If either says so, only the earlier report counts. The later one counts as a clutch of its own
    once its keeper says that it is another one, unless the other keeper says that it is the same.

    Parameters
    ----------
    unchanged
        Called with the stored pair, once nobody else can change it; raises if the caller decided
        on an outdated one.

    Raises
    ------
    NotFoundError
        None of the two reports is this keeper's.
    """
    with transaction.atomic():
        pair = duplicate_get(keeper, duplicate_id)
        alike_lock_of([pair.earlier_id])
        keepers_lock(keepers_around([pair.earlier_id]))
        pair = duplicate_get(keeper, duplicate_id)
        if unchanged is not None:
            unchanged(pair)
        if pair.earlier.keeper_id == keeper.pk:
            pair.earlier_says = same
        if pair.later.keeper_id == keeper.pk:
            pair.later_says = same
        _settle(pair)
        return pair


def duplicate_moderate(pair_id: uuid.UUID, *, same: bool | None) -> None:
    """A moderator's word goes before both keepers'; None takes it back."""
    with transaction.atomic():
        pair = LikelyDuplicate.objects.select_related("earlier", "later").get(pk=pair_id)
        alike_lock_of([pair.earlier_id])
        keepers_lock(keepers_around([pair.earlier_id]))
        pair.refresh_from_db()
        pair.moderator_says = same
        _settle(pair)


def _settle(pair: LikelyDuplicate) -> None:
    """Store what was said, and put reports into the pools or out of them."""
    pair.state = _state(pair)
    pair.save()
    copies_settle([pair.earlier_id])


def _state(pair: LikelyDuplicate) -> DuplicateState:
    if pair.moderator_says is not None:
        said = pair.moderator_says
        return DuplicateState.CONFIRMED if said else DuplicateState.DISMISSED
    if pair.earlier_says or pair.later_says:
        return DuplicateState.CONFIRMED
    if pair.later_says is False:
        return DuplicateState.DISMISSED
    if pair.reason == DuplicateReason.CODE:
        return DuplicateState.CONFIRMED
    return DuplicateState.LIKELY
