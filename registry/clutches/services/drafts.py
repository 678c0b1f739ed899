"""Reports that are not handed in yet: kept, changed, handed in once, thrown away."""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

from django.db import connection, transaction
from django.db.models import Q

from registry.clutches.choices import DRAFT_DAYS, HANDED_IN_DAYS, MAX_DRAFTS
from registry.clutches.models import Draft
from registry.clutches.selectors import draft_get
from registry.clutches.services.reporting import Report, clutch_report
from registry.errors import PreconditionFailedError, TooManyRequestsError
from registry.keepers.models import Keeper
from registry.keepers.selectors import today
from registry.keepers.services import keeper_lock
from registry.traffic.callers import Caller
from registry.traffic.limits import CLUTCHES, cap_counted, capped


def draft_begin(keeper: Keeper, typed: Mapping[str, str]) -> Draft:
    """Keep what was typed. Old drafts go, and beyond the most that are kept the oldest.

    The same words, from a button that was pressed twice, are the draft that is there already.
    """
    with transaction.atomic():
        keeper_lock(keeper.pk)
        same = Draft.objects.filter(keeper=keeper, clutch=None, typed=dict(typed))
        same.update(touched_on=today())
        draft = same.first() or Draft.objects.create(
            keeper=keeper, typed=dict(typed), touched_on=today()
        )
        _sweep(keeper, draft)
        return draft


def draft_change(keeper: Keeper, draft_id: uuid.UUID, typed: Mapping[str, str]) -> Draft:
    """Keep what was typed instead; a draft that was handed in stays as it is.

    Raises
    ------
    NotFoundError
        Not a draft of this keeper.
    """
    with transaction.atomic():
        keeper_lock(keeper.pk)
        draft = draft_get(keeper, draft_id)
        if draft.clutch_id is None:
            draft.typed, draft.touched_on = dict(typed), today()
            draft.save(update_fields=["typed", "touched_on"])
        return draft


@dataclass(frozen=True, slots=True)
class Trial:
    """What a report would be; ``not_today`` says why it could not be handed in before tomorrow."""

    report: Report
    not_today: str | None


def report_tried(keeper: Keeper, given: Mapping[str, Any], caller: Caller) -> Trial:
    """Report a clutch and take it back: what it would be, and everything that would be refused.

    The id in the report belongs to nothing. Whoever has reported as many as are taken a day is told
    so, and sees all the same what was understood.

    Raises
    ------
    FieldsError
        What `clutch_report` refuses.
    """
    not_today = None
    with transaction.atomic():
        try:
            cap_counted(CLUTCHES, caller)
        except TooManyRequestsError as error:
            not_today = error.message
        report = clutch_report(keeper, given)
        transaction.set_rollback(True)
    return Trial(report, not_today)


def draft_hand_in(
    keeper: Keeper, seen: Draft, given: Mapping[str, Any], caller: Caller
) -> uuid.UUID:
    """Report the clutch of a draft, once: of any number of calls, all get the id of one clutch.

    Parameters
    ----------
    seen
        The draft that ``given`` was read from.
    given
        The validated body of the draft, as `clutch_report` takes it.

    Raises
    ------
    NotFoundError
        Not a draft of this keeper.
    PreconditionFailedError
        It was changed in the meantime; nothing is reported.
    FieldsError
        What `clutch_report` refuses; the draft stays.
    TooManyRequestsError
    """
    with transaction.atomic():
        # A second press waits here, and then finds the clutch. No row and no keeper is locked yet:
        # a report takes locks that go before those.
        _one_by_one(seen.pk)
        draft = draft_get(keeper, seen.pk)
        if draft.clutch_id is not None:
            return draft.clutch_id
        with capped(CLUTCHES, caller):
            report = clutch_report(keeper, given)
        own = Draft.objects.filter(pk=seen.pk, clutch=None, typed=seen.typed)
        if not own.update(clutch=report.clutch_id, typed={}, touched_on=today()):
            raise PreconditionFailedError(
                "The draft was changed or thrown away in another window; look it over once more."
            )
        return report.clutch_id


_SPACE: Final = 0x6472
"""Of the locks with two numbers, those of drafts."""


def _one_by_one(draft_id: uuid.UUID) -> None:
    """Let the hand-ins of one draft follow each other, until the transaction ends."""
    number = int.from_bytes(draft_id.bytes[:4], "big", signed=True)
    with connection.cursor() as cursor:
        cursor.execute("SELECT pg_advisory_xact_lock(%s, %s)", [_SPACE, number])


def draft_throw_away(keeper: Keeper, draft_id: uuid.UUID) -> None:
    """Forget a draft.

    Raises
    ------
    NotFoundError
        Not a draft of this keeper.
    """
    with transaction.atomic():
        keeper_lock(keeper.pk)
        draft_get(keeper, draft_id).delete()


def drafts_sweep() -> int:
    """Remove the drafts of all keepers that have run out; how many.

    For the timer of upkeep: whoever never comes back begins no draft that would sweep theirs.
    """
    with transaction.atomic():
        # One that is being changed or handed in is left alone.
        ids = Draft.objects.filter(_run_out()).select_for_update(skip_locked=True)
        n_gone, _by_model = Draft.objects.filter(pk__in=ids.values("pk")).delete()
    return n_gone


def _run_out() -> Q:
    """Drafts that nobody touched for long, and those that led to their clutch for long enough."""
    drafts = Q(clutch=None, touched_on__lt=today() - dt.timedelta(days=DRAFT_DAYS))
    handed_in = Q(touched_on__lt=today() - dt.timedelta(days=HANDED_IN_DAYS))
    return drafts | (handed_in & ~Q(clutch=None))


def _sweep(keeper: Keeper, newest: Draft) -> None:
    own = Draft.objects.filter(keeper=keeper).exclude(pk=newest.pk)
    own.filter(_run_out()).delete()
    beyond = own.filter(clutch=None).order_by("-touched_on", "id")[MAX_DRAFTS - 1 :]
    Draft.objects.filter(pk__in=list(beyond.values_list("pk", flat=True))).delete()
