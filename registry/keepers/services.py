"""Writes of keepers: join, leave."""

from __future__ import annotations

from dataclasses import dataclass

from django.db import transaction

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
