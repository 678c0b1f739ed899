"""Acts of moderators: each with its reason, and with its audit entry in one transaction."""

from __future__ import annotations

import re
import uuid
from typing import Final

from django.db import transaction
from django.utils import timezone

from registry.clutches.models import LikelyDuplicate
from registry.clutches.services.duplicates import duplicate_moderate
from registry.clutches.services.holding import keeper_hold, keeper_release
from registry.errors import ContradictionError, NotFoundError
from registry.keepers.choices import RECOVERY_PREFIX, TOKEN_PREFIX
from registry.keepers.models import Hold, Keeper
from registry.moderation.audit import audit_append
from registry.moderation.choices import MAX_REASON_LENGTH, MIN_REASON_LENGTH, Act
from registry.moderation.models import Moderator
from registry.wording import counted

_NEVER_IN_A_REASON: Final = (
    (
        re.compile(rf"{TOKEN_PREFIX}|{RECOVERY_PREFIX}", re.IGNORECASE),
        "what looks like a keeper's token or recovery code",
    ),
    (
        re.compile(r"(?i)[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}|[0-9a-f]{32,}"),
        "what looks like an id or a digest",
    ),
    (re.compile(r"[^\s@]@[^\s@]"), "what looks like a mail address"),
)
"""The trail outlives an erasure, and can't be changed: it must lead to nobody."""
_VERDICTS = {Act.SAME: True, Act.DIFFERENT: False, Act.TAKE_BACK: None}


def reason_checked(reason: str) -> str:
    """A reason as it is kept: one line, long enough to be one, without secrets, ids and addresses.

    Raises
    ------
    ContradictionError
    """
    text = " ".join(reason.split())
    if not MIN_REASON_LENGTH <= len(text) <= MAX_REASON_LENGTH:
        raise ContradictionError(
            f"The reason has {counted(len(text), 'character')}; {MIN_REASON_LENGTH} to "
            f"{MAX_REASON_LENGTH} are expected. The keeper reads it."
        )
    for pattern, what in _NEVER_IN_A_REASON:
        if pattern.search(text):
            raise ContradictionError(
                f"The reason holds {what}. The audit trail is kept for good, also after the keeper "
                "was erased: leave it out."
            )
    return text


@transaction.atomic
def hold(moderator: Moderator, keeper_id: uuid.UUID, reason: str) -> int:
    """Hold a keeper's clutches back from every pool; how many there are.

    Raises
    ------
    ContradictionError
        No reason, or the keeper is held already.
    UnknownTokenError
        The keeper left.
    """
    text = reason_checked(reason)

    def still_free() -> None:
        if Keeper.objects.filter(pk=keeper_id, is_held=True).exists():
            raise ContradictionError(f"Keeper {keeper_id} is held already.")

    n_held = keeper_hold(keeper_id, unchanged=still_free)
    Hold.objects.create(keeper_id=keeper_id, since=timezone.now().date(), reason=text)
    audit_append(moderator=moderator.handle, act=Act.HOLD, about=keeper_id, reason=text)
    return n_held


@transaction.atomic
def release(moderator: Moderator, keeper_id: uuid.UUID, reason: str) -> int:
    """Put a held keeper's clutches back into the pools; how many came back.

    Raises
    ------
    ContradictionError
        No reason, or the keeper is not held.
    UnknownTokenError
        The keeper left.
    """
    text = reason_checked(reason)

    def still_held() -> None:
        if not Keeper.objects.filter(pk=keeper_id, is_held=True).exists():
            raise ContradictionError(f"Keeper {keeper_id} is not held.")

    n_released = keeper_release(keeper_id, unchanged=still_held)
    open_holds = Hold.objects.filter(keeper=keeper_id, released_on=None)
    open_holds.update(released_on=timezone.now().date())
    audit_append(moderator=moderator.handle, act=Act.RELEASE, about=keeper_id, reason=text)
    return n_released


@transaction.atomic
def judge(moderator: Moderator, pair_id: uuid.UUID, act: Act, reason: str) -> None:
    """Say whether two reports are of one clutch; it goes before both keepers' words.

    Raises
    ------
    ContradictionError
        No reason.
    NotFoundError
        The pair is gone, because one of the reports is.
    """
    text = reason_checked(reason)
    try:
        duplicate_moderate(pair_id, same=_VERDICTS[act])
    except LikelyDuplicate.DoesNotExist as error:
        raise NotFoundError(f"There is no pair of reports {pair_id}.") from error
    audit_append(moderator=moderator.handle, act=act, about=pair_id, reason=text)
