"""Keepers and their tokens. No name, no address, nothing that says who somebody is."""

import uuid

from django.db import models


class Keeper(models.Model):
    """Somebody who reports clutches, known by a random number only."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    recovery_sha256 = models.CharField(max_length=64, unique=True)
    joined_at = models.DateTimeField(auto_now_add=True)
    is_held = models.BooleanField(
        default=False, db_default=False, help_text="By a moderator: in no pool until released."
    )

    def __str__(self) -> str:
        return str(self.id)

    @property
    def is_authenticated(self) -> bool:
        """What the framework asks of the user of a request."""
        return True


class KeeperToken(models.Model):
    """A secret that speaks for a keeper; only its digest is kept."""

    keeper = models.ForeignKey(Keeper, on_delete=models.CASCADE, related_name="tokens")
    sha256 = models.CharField(max_length=64, unique=True)
    created_at = models.DateTimeField(auto_now_add=True)

    def __str__(self) -> str:
        return f"token of {self.keeper_id}"
