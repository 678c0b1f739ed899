"""Reports that are not handed in yet: kept, changed, handed in once, thrown away."""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Mapping
from typing import Any, Final

from django.db import connection, transaction

from registry.clutches.choices import DRAFT_DAYS, HANDED_IN_DAYS, MAX_DRAFTS
from registry.clutches.models import Draft
from registry.clutches.selectors import draft_get
from registry.clutches.services.reporting import clutch_report
from registry.errors import PreconditionFailedError
from registry.keepers.models import Keeper
from registry.keepers.selectors import today
from registry.keepers.services import keeper_lock
from registry.traffic.callers import Caller
from registry.traffic.limits import CLUTCHES, capped


def draft_begin(keeper: Keeper, typed: Mapping[str, str]) -> Draft:
    """Keep what was typed. Old drafts go, and beyond the most that are kept the oldest."""
    with transaction.atomic():
        keeper_lock(keeper.pk)
        draft = Draft.objects.create(keeper=keeper, typed=dict(typed), touched_on=today())
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


def _sweep(keeper: Keeper, newest: Draft) -> None:
    own = Draft.objects.filter(keeper=keeper).exclude(pk=newest.pk)
    day = today()
    over = own.filter(clutch=None, touched_on__lt=day - dt.timedelta(days=DRAFT_DAYS))
    led = own.filter(touched_on__lt=day - dt.timedelta(days=HANDED_IN_DAYS)).exclude(clutch=None)
    (over | led).delete()
    beyond = own.filter(clutch=None).order_by("-touched_on", "id")[MAX_DRAFTS - 1 :]
    Draft.objects.filter(pk__in=list(beyond.values_list("pk", flat=True))).delete()
