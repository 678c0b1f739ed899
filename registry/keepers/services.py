"""Writes of keepers: join, tokens, recovery; and the lock that orders a keeper's other writes."""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from django.db import transaction
from django.db.models import Q

from registry.errors import (
    ContradictionError,
    ExpiredTokenError,
    ExpiryInThePastError,
    NotFoundError,
    TooManyTokensError,
    UnknownRecoveryCodeError,
    UnknownTokenError,
    at,
)
from registry.keepers.choices import (
    MAX_TOKENS,
    RECOVERY_PREFIX,
    SHOWN_LENGTH,
    TOKEN_PREFIX,
)
from registry.keepers.digests import digest_of, new_secret, same_digest
from registry.keepers.models import Keeper, KeeperToken
from registry.keepers.selectors import today, token_found


@dataclass(frozen=True, slots=True)
class NewKeeper:
    """A keeper with the two secrets that are shown this once."""

    keeper: Keeper
    token: str
    recovery_code: str


@dataclass(frozen=True, slots=True)
class NewToken:
    """A stored token and the secret itself, which is shown this once."""

    stored: KeeperToken
    token: str


@transaction.atomic
def keeper_join() -> NewKeeper:
    """A new keeper with a token and a recovery code."""
    recovery = new_secret(RECOVERY_PREFIX)
    keeper = Keeper.objects.create(recovery_sha256=digest_of(recovery))
    # Whoever joins goes on with this token, so it counts as used and the next call writes nothing.
    made = _token_store(keeper, last_used_on=today())
    return NewKeeper(keeper=keeper, token=made.token, recovery_code=recovery)


def keeper_lock(keeper_id: uuid.UUID) -> None:
    """Make a keeper's writes follow each other, until the transaction ends. One statement.

    The lock lets others check that the keeper exists: foreign keys are checked at the commit, and
    a stronger lock would have two writers wait for each other there.

    Raises
    ------
    UnknownTokenError
        The keeper left in the meantime.
    """
    own = Keeper.objects.select_for_update(no_key=True).filter(pk=keeper_id)
    if not own.values_list("pk").first():
        raise UnknownTokenError("The token belongs to no keeper.")


def keepers_lock(keeper_ids: Iterable[uuid.UUID | None]) -> None:
    """Lock several keepers as ``keeper_lock`` does, in order, so that nobody waits in a circle."""
    own = Keeper.objects.select_for_update(no_key=True)
    wanted = own.filter(pk__in={one for one in keeper_ids if one is not None})
    list(wanted.order_by("pk").values_list("pk"))


# --- tokens -----------------------------------------------------------------------------------


def token_use(token: str) -> KeeperToken | None:
    """The token with its keeper, and its day of use noted; None if it is nobody's.

    One statement, and one more at the first call of a day.

    Raises
    ------
    ExpiredTokenError
    """
    found = token_found(token)
    if found is None:
        return None
    day = today()
    if found.is_expired(day):
        raise ExpiredTokenError(expired_on=found.expires_on)
    if found.last_used_on is None or found.last_used_on < day:
        # The condition is checked again: of many first calls at once one writes.
        unnoted = Q(last_used_on__isnull=True) | Q(last_used_on__lt=day)
        KeeperToken.objects.filter(unnoted, pk=found.pk).update(last_used_on=day)
    return found


@transaction.atomic
def token_make(keeper: Keeper, given: Mapping[str, Any]) -> NewToken:
    """Another token of a keeper. Four statements at most.

    Parameters
    ----------
    given
        A validated body: ``label``; ``expires_on`` or ``expires_in_days``.

    Raises
    ------
    FieldsError
        Both expiries, or one that is over.
    TooManyTokensError
    """
    expires_on = _expiry(given)
    keeper_lock(keeper.pk)
    _room_checked(keeper)
    return _token_store(keeper, label=given.get("label") or "", expires_on=expires_on)


def token_revoke(
    keeper: Keeper, token_id: uuid.UUID, *, unchanged: Callable[[KeeperToken], None] | None = None
) -> None:
    """Take a token of the keeper out of use, at once; it may be the last one, or the one in use.

    Parameters
    ----------
    unchanged
        Asked under the lock: raises if the token is no longer what it is revoked as.

    Raises
    ------
    NotFoundError
        Not a token of this keeper.
    """
    with transaction.atomic():
        own = KeeperToken.objects.select_for_update().filter(keeper=keeper)
        token = own.filter(pk=token_id).first()
        if token is None:
            raise NotFoundError(f"You have no token {token_id}.")
        if unchanged is not None:
            unchanged(token)
        token.delete()


def _expiry(given: Mapping[str, Any]) -> dt.date | None:
    expires_on: dt.date | None = given.get("expires_on")
    n_days: int | None = given.get("expires_in_days")
    if n_days is None:
        if expires_on is not None and expires_on < today():
            with at("expires_on"):
                raise ExpiryInThePastError(expires_on=expires_on, today=today())
        return expires_on
    if expires_on is not None:
        with at("expires_in_days"):
            raise ContradictionError(
                "expires_on and expires_in_days are two ways to say one thing; give one of them."
            )
    return today() + dt.timedelta(days=n_days)


def _room_checked(keeper: Keeper) -> None:
    """Whether the locked keeper may have another token."""
    if KeeperToken.objects.filter(keeper=keeper).count() >= MAX_TOKENS:
        raise TooManyTokensError(most=MAX_TOKENS)


def _token_store(
    keeper: Keeper,
    *,
    label: str = "",
    expires_on: dt.date | None = None,
    last_used_on: dt.date | None = None,
) -> NewToken:
    token = new_secret(TOKEN_PREFIX)
    stored = KeeperToken.objects.create(
        keeper=keeper,
        sha256=digest_of(token),
        starts_with=token[:SHOWN_LENGTH],
        label=label,
        expires_on=expires_on,
        last_used_on=last_used_on,
    )
    return NewToken(stored=stored, token=token)


# --- recovery ---------------------------------------------------------------------------------


@transaction.atomic
def keeper_recover(recovery_code: str, *, revoke_tokens: bool = False) -> NewKeeper:
    """A new token and a new recovery code for whoever has the old code, which is used up.

    Parameters
    ----------
    revoke_tokens
        Take every other token out of use, as after a theft.

    Raises
    ------
    UnknownRecoveryCodeError
        The same whatever was wrong: never given out, replaced, used up, or no such form.
    TooManyTokensError
        Nothing is used up then.
    """
    digest = digest_of(recovery_code)
    # Of two calls with one code, the second waits here and then finds a keeper with another code.
    own = Keeper.objects.select_for_update(no_key=True).filter(recovery_sha256=digest)
    keeper = own.first()
    if keeper is None or not same_digest(keeper.recovery_sha256, digest):
        raise UnknownRecoveryCodeError
    if revoke_tokens:
        KeeperToken.objects.filter(keeper=keeper).delete()
    else:
        _room_checked(keeper)
    recovery = _recovery_replace(keeper)
    made = _token_store(keeper, last_used_on=today())
    return NewKeeper(keeper=keeper, token=made.token, recovery_code=recovery)


@transaction.atomic
def recovery_code_replace(keeper: Keeper) -> str:
    """A new recovery code; the old one is no longer taken. For a code that was lost or seen."""
    keeper_lock(keeper.pk)
    return _recovery_replace(keeper)


def _recovery_replace(keeper: Keeper) -> str:
    recovery = new_secret(RECOVERY_PREFIX)
    Keeper.objects.filter(pk=keeper.pk).update(recovery_sha256=digest_of(recovery))
    return recovery
