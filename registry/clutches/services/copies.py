"""Reports that wait because an earlier one of the same clutch counts, and who stands in for it.

All reports that are paired with one earlier report are its copies. While the earlier one counts,
they wait. While a moderator holds it, the first copy that is not held stands in, and the others
wait; so a clutch counts once whatever is held, withdrawn or erased.
"""

from __future__ import annotations

import uuid
from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Final

from django.db import connection
from django.db.models import Q, QuerySet
from django.utils import timezone

from registry.clutches.choices import DuplicateReason, DuplicateState
from registry.clutches.models import Clutch, LikelyDuplicate
from registry.clutches.services.alike_locks import alike_lock_of
from registry.clutches.services.families import families_renew
from registry.keepers.services import keepers_lock


@dataclass(frozen=True, slots=True)
class Copy:
    """The earlier report that a new one repeats, and why it is thought so.

    ``is_held``: a moderator holds the earlier one. ``is_own``: it is of the same keeper.
    """

    earlier: uuid.UUID
    reason: DuplicateReason
    state: DuplicateState
    chance: float
    is_held: bool = False
    is_own: bool = False

    @property
    def is_foretold(self) -> bool:
        """Whether somebody who only tries a report may be told of it.

        Not of another keeper's that is alike: trying all seasons and numbers of eggs, which leaves
        no trace, would tell those of a clutch whose calls are public.
        """
        return self.is_own or self.reason == DuplicateReason.CODE


def copy_waits(copy: Copy) -> bool:
    """Whether a new report waits: the earlier one counts, or another copy stands in for it."""
    if not copy.is_held:
        return True
    beside = LikelyDuplicate.objects.filter(earlier=copy.earlier, later__is_held=False)
    return beside.exclude(state=DuplicateState.DISMISSED).exists()


def copy_keep(copy: Copy, later: uuid.UUID, found_at: datetime) -> None:
    """Remember that a new report repeats an earlier one."""
    LikelyDuplicate.objects.create(
        earlier_id=copy.earlier,
        later_id=later,
        reason=copy.reason,
        state=copy.state,
        chance=copy.chance,
        found_at=found_at,
    )


@dataclass(frozen=True, slots=True)
class Touched:
    """What other reports have to do with clutches that change: asked before they do.

    ``heirs`` are, for each report that goes, its copies in order of arrival; ``earlier`` the
    reports beside which a clutch that goes was found; ``above`` which of these it is a copy of.
    """

    heirs: tuple[LikelyDuplicate, ...]
    earlier: frozenset[uuid.UUID]
    above: Mapping[uuid.UUID, uuid.UUID]


def touched_locked(keeper_id: uuid.UUID, clutches: QuerySet[Clutch]) -> Touched:
    """Lock clutches of a keeper that change, and every keeper whose report may count or wait then.

    Until the transaction ends no report becomes a copy of one of them, and nobody gives an opinion
    on one. Whom they touch, and which they are, is asked again under the locks.
    """
    locked: set[uuid.UUID] = set()
    while not (around := _around(clutches)) <= locked:
        alike_lock_of(around)
        locked |= around
    keepers_lock([keeper_id, *keepers_around(around)])
    rows = clutches.select_for_update().order_by("pk")
    return _touched(rows.values_list("pk", flat=True))


def _around(clutches: QuerySet[Clutch]) -> set[uuid.UUID]:
    """Clutches, and the reports that they are copies of."""
    ids = set(clutches.order_by().values_list("pk", flat=True))
    return ids | _touched(ids).earlier


# A copy has copies of its own if it was told apart when they came.
_KEEPERS_AROUND: Final = """
WITH RECURSIVE around (id) AS (
    SELECT unnest(%(earlier)s::uuid[])
    UNION
    SELECT pair.later_id
    FROM around JOIN clutches_likelyduplicate pair ON pair.earlier_id = around.id
)
SELECT DISTINCT clutch.keeper_id FROM around JOIN clutches_clutch clutch ON clutch.id = around.id
"""


def keepers_around(earlier: Iterable[uuid.UUID]) -> list[uuid.UUID | None]:
    """Keepers of reports, of all their copies, and of the copies of these. One statement."""
    with connection.cursor() as cursor:
        cursor.execute(_KEEPERS_AROUND, {"earlier": list(earlier)})
        return [keeper for (keeper,) in cursor.fetchall()]


def _touched(clutch_ids: Iterable[uuid.UUID]) -> Touched:
    ids = set(clutch_ids)
    pairs = list(
        LikelyDuplicate.objects.filter(Q(earlier__in=ids) | Q(later__in=ids))
        .select_related("later")
        .order_by("later__reported_at", "later")
    )
    copied = {
        one.later_id: one.earlier_id for one in pairs if one.state != DuplicateState.DISMISSED
    }
    return Touched(
        heirs=tuple(
            one
            for one in pairs
            if one.earlier_id in ids
            and one.later_id not in ids
            and one.state != DuplicateState.DISMISSED
        ),
        earlier=frozenset(one.earlier_id for one in pairs) - ids,
        above={one: root for one in ids if (root := _root(one, ids, copied)) is not None},
    )


def _root(
    gone: uuid.UUID, ids: Collection[uuid.UUID], copied: Mapping[uuid.UUID, uuid.UUID]
) -> uuid.UUID | None:
    """The report that stays and of which one that goes is a copy; None if there is none."""
    root = copied.get(gone)
    while root is not None and root in ids:
        root = copied.get(root)
    return root


def copies_release(touched: Touched) -> None:
    """After reports are gone: the first copy of each takes its place, the others wait for it.

    The copies of one that was a copy itself wait for the report that it waited for. Inside the
    caller's transaction, which holds the locks.
    """
    by_earlier: dict[uuid.UUID, list[LikelyDuplicate]] = defaultdict(list)
    for one in touched.heirs:
        by_earlier[one.earlier_id].append(one)
    heirs = []
    for gone, pairs in by_earlier.items():
        first, others = touched.above.get(gone), pairs
        if first is None:
            heir, *others = sorted(pairs, key=lambda one: one.later.is_held)
            heirs.append(heir.later)
            first = heir.later_id
        for one in others:
            reason = DuplicateReason(one.reason)
            shared = reason == DuplicateReason.CODE
            state = DuplicateState.CONFIRMED if shared else DuplicateState.LIKELY
            copy = Copy(first, reason, state, one.chance)
            copy_keep(copy, one.later_id, timezone.now())
    changed = [(one, False) for one in heirs if one.is_duplicate]
    _set_waiting(changed)
    copies_settle([*(one.pk for one in heirs), *touched.earlier])


def copies_settle(earlier: Collection[uuid.UUID]) -> None:
    """Let every copy of these reports wait or count, as its pair and those beside it say.

    Inside the caller's transaction, which holds the locks.
    """
    pairs = (
        LikelyDuplicate.objects.filter(earlier__in=set(earlier))
        .select_related("earlier", "later")
        .order_by("earlier", "later__reported_at", "later")
    )
    by_earlier: dict[uuid.UUID, list[LikelyDuplicate]] = defaultdict(list)
    for one in pairs:
        by_earlier[one.earlier_id].append(one)
    changed = [
        (pair.later, waits)
        for copies in by_earlier.values()
        for pair, waits in zip(copies, copies_wait(copies), strict=True)
        if pair.later.is_duplicate != waits
    ]
    _set_waiting(changed)
    # Whether somebody stands in for a held report depends on whether it waits for another.
    if held := [clutch.pk for clutch, _waits in changed if clutch.is_held]:
        copies_settle(held)


def copies_wait(pairs: Sequence[LikelyDuplicate]) -> list[bool]:
    """Of all copies of one report, in order of arrival: whether each of them waits."""
    found = []
    # One that waits itself does so because another report of the clutch counts.
    somebody_counts = bool(pairs) and (
        not pairs[0].earlier.is_held or pairs[0].earlier.is_duplicate
    )
    for one in pairs:
        is_copy = one.state != DuplicateState.DISMISSED
        found.append(is_copy and somebody_counts)
        somebody_counts = somebody_counts or (is_copy and not one.later.is_held)
    return found


def _set_waiting(changed: Sequence[tuple[Clutch, bool]]) -> None:
    """Store whether reports wait, and bring the pools of their families up to date."""
    own: dict[uuid.UUID, list[uuid.UUID]] = defaultdict(list)
    for clutch, _waits in changed:
        if clutch.keeper_id is not None:
            own[clutch.keeper_id].append(clutch.pk)
    for waits in (True, False):
        ids = [clutch.pk for clutch, says in changed if says is waits]
        if ids:
            Clutch.objects.filter(pk__in=ids).update(is_duplicate=waits)
    for keeper, clutches in sorted(own.items()):
        families_renew(keeper, clutches)
