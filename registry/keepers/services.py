"""Writes of keepers: join; and the lock that orders a keeper's other writes."""

from __future__ import annotations

import uuid
from collections.abc import Iterable
from dataclasses import dataclass

from django.db import transaction

from registry.errors import UnknownTokenError
from registry.keepers.choices import RECOVERY_PREFIX, TOKEN_PREFIX
from registry.keepers.digests import digest_of, new_secret
from registry.keepers.models import Keeper, KeeperToken


@dataclass(frozen=True, slots=True)
class NewKeeper:
    """A keeper with the two secrets that are shown this once."""

    keeper: Keeper
    token: str
    recovery_code: str


@transaction.atomic
def keeper_join() -> NewKeeper:
    """A new keeper with a token and a recovery code."""
    token, recovery = new_secret(TOKEN_PREFIX), new_secret(RECOVERY_PREFIX)
    keeper = Keeper.objects.create(recovery_sha256=digest_of(recovery))
    KeeperToken.objects.create(keeper=keeper, sha256=digest_of(token))
    return NewKeeper(keeper=keeper, token=token, recovery_code=recovery)


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
