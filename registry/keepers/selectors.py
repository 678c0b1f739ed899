"""Reads of keepers and their tokens."""

from __future__ import annotations

import datetime as dt
import uuid
from string import hexdigits
from typing import Any

from django.db.models import QuerySet
from django.utils import timezone

from registry.errors import NotFoundError
from registry.keepers.choices import DIGEST_LENGTH, TOKEN_PREFIX
from registry.keepers.digests import digest_of, same_digest
from registry.keepers.models import Erasure, Hold, Keeper, KeeperToken


def today() -> dt.date:
    """The day in UTC, which is what every day of a keeper is told in."""
    return timezone.now().date()


def token_found(token: str) -> KeeperToken | None:
    """The token with its keeper, in one statement; None if it is nobody's. It may be expired."""
    if not token.startswith(TOKEN_PREFIX):
        return None
    digest = digest_of(token)
    found = KeeperToken.objects.select_related("keeper").filter(sha256=digest).first()
    return found if found and same_digest(found.sha256, digest) else None


def token_list(keeper: Keeper) -> QuerySet[KeeperToken]:
    """Tokens of a keeper, expired ones included."""
    return KeeperToken.objects.filter(keeper=keeper)


def token_get(keeper: Keeper, token_id: uuid.UUID) -> KeeperToken:
    """One token of a keeper; somebody else's is not found."""
    found = token_list(keeper).filter(pk=token_id).first()
    if found is None:
        raise NotFoundError(f"You have no token {token_id}.")
    return found


def token_answer(token: KeeperToken, *, current: uuid.UUID | None) -> dict[str, Any]:
    """A token as its keeper sees it; ``current`` is the one that the call came with."""
    return {
        "id": token.pk,
        "label": token.label or None,
        "starts_with": token.starts_with or None,
        "created_on": token.created_at.date(),
        "last_used_on": token.last_used_on,
        "expires_on": token.expires_on,
        "expired": token.is_expired(today()),
        "current": token.pk == current,
    }


def erasure_get(receipt: str) -> Erasure:
    """The erasure of that receipt.

    Raises
    ------
    NotFoundError
        No keeper was erased with that receipt.
    """
    digest = receipt.strip().lower()
    # A text that can be no digest is not looked up; the database would refuse a NUL in it.
    is_digest = len(digest) == DIGEST_LENGTH and set(digest) <= set(hexdigits)
    found = Erasure.objects.filter(pk=digest).first() if is_digest else None
    if found is None:
        raise NotFoundError("No erasure has this receipt.")
    return found


def hold_list(keeper: Keeper) -> QuerySet[Hold]:
    """Every hold of a keeper's clutches, past ones included, oldest first."""
    return Hold.objects.filter(keeper=keeper).order_by("pk")


def hold_answer(hold: Hold) -> dict[str, Any]:
    """A hold as the keeper's export shows it."""
    return {"since": hold.since, "reason": hold.reason, "released_on": hold.released_on}


def hold_of(keeper_id: uuid.UUID) -> dict[str, Any] | None:
    """Since when and why a moderator holds a keeper's clutches; None if nobody does."""
    found = Hold.objects.filter(keeper=keeper_id, released_on=None).first()
    return None if found is None else {"since": found.since, "reason": found.reason}
