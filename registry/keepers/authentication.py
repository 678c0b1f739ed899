"""Authentication by a keeper's token."""

from __future__ import annotations

from registry.api.bearer import BearerAuthentication
from registry.keepers.models import Keeper
from registry.keepers.selectors import keeper_of_token


class TokenAuthentication(BearerAuthentication):
    """``request.user`` is the keeper of the token."""

    def owner_of(self, token: str) -> tuple[Keeper, str] | None:
        """The keeper, and nothing of the token."""
        keeper = keeper_of_token(token)
        return None if keeper is None else (keeper, "token")
