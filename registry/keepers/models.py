"""Keepers and their tokens. No name, no address, nothing that says who somebody is."""

import datetime as dt
import uuid

from django.db import models

from registry.keepers.choices import DIGEST_LENGTH, MAX_TOKEN_LABEL_LENGTH, SHOWN_LENGTH


class Keeper(models.Model):
    """Somebody who reports clutches, known by a random number only."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    recovery_sha256 = models.CharField(max_length=DIGEST_LENGTH, unique=True)
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
    """A secret that speaks for a keeper; only its digest and its first characters are kept.

    ``label`` is in the keeper's own words. ``starts_with`` is empty for a token from before these
    characters were kept. ``last_used_on`` is a day, so that it tells no habits, and NULL for a
    token that was never used. ``expires_on`` is the last day (UTC) on which it is taken.
    """

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    keeper = models.ForeignKey(Keeper, on_delete=models.CASCADE, related_name="tokens")
    sha256 = models.CharField(max_length=DIGEST_LENGTH, unique=True)
    starts_with = models.CharField(max_length=SHOWN_LENGTH, blank=True, default="")
    label = models.CharField(max_length=MAX_TOKEN_LABEL_LENGTH, blank=True, default="")
    created_at = models.DateTimeField(auto_now_add=True)
    last_used_on = models.DateField(null=True)
    expires_on = models.DateField(null=True)

    class Meta:
        ordering = ("created_at", "id")

    def __str__(self) -> str:
        return f"token of {self.keeper_id}"

    def is_expired(self, today: dt.date) -> bool:
        """Whether its last day is over."""
        return self.expires_on is not None and self.expires_on < today


class Erasure(models.Model):
    """That a keeper was erased: the digest of the id, and the day. Nothing else is kept.

    It answers the keeper who asks later, and names the keepers that a restored backup brought back.
    """

    sha256 = models.CharField(max_length=DIGEST_LENGTH, primary_key=True)
    erased_on = models.DateField()

    class Meta:
        ordering = ("erased_on", "sha256")
        constraints = (
            models.CheckConstraint(
                name="erasure_digest_is_sha256",
                condition=models.Q(sha256__regex=r"^[0-9a-f]{64}$"),
            ),
        )

    def __str__(self) -> str:
        return f"{self.sha256} {self.erased_on}"
