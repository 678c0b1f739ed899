"""Authentication by a keeper's token."""

from __future__ import annotations

import uuid

from registry.api.bearer import BearerAuthentication
from registry.keepers.models import Keeper
from registry.keepers.services import token_use


class TokenAuthentication(BearerAuthentication):
    """``request.user`` is the keeper of the token, ``request.auth`` the token's id."""

    def owner_of(self, token: str) -> tuple[Keeper, uuid.UUID] | None:
        """The keeper and the id of the token; nothing of the token itself."""
        used = token_use(token)
        return None if used is None else (used.keeper, used.pk)
