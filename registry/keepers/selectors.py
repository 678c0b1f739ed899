"""Reads of keepers."""

from __future__ import annotations

from registry.keepers.choices import TOKEN_PREFIX
from registry.keepers.digests import digest_of
from registry.keepers.models import Keeper, KeeperToken


def keeper_of_token(token: str) -> Keeper | None:
    """The keeper whose token this is, in one statement; None if it is nobody's."""
    if not token.startswith(TOKEN_PREFIX):
        return None
    found = KeeperToken.objects.select_related("keeper").filter(sha256=digest_of(token)).first()
    return found.keeper if found else None
