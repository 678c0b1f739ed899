"""What is kept of calls: answers for those who repeat a create, and counts of calls."""

from __future__ import annotations

from django.db import models

from registry.traffic.choices import DIGEST_BYTES


class StoredAnswer(models.Model):
    """The answer of a create, for whoever sends it again with the same ``Idempotency-Key``.

    ``key_sha256`` is a digest of caller and key, ``sealed`` the answer with the fingerprint of its
    request, encrypted with a key that is derived from the ``Idempotency-Key`` (see
    ``registry.traffic.sealing``): the database alone gives neither away. ``keeper`` is whose
    erasure takes the answer along: who called, or who joined by this call.
    """

    id = models.BigAutoField(primary_key=True)
    keeper = models.ForeignKey(
        "keepers.Keeper", on_delete=models.CASCADE, null=True, related_name="+"
    )
    key_sha256 = models.BinaryField(max_length=DIGEST_BYTES)
    sealed = models.BinaryField()
    stored_at = models.DateTimeField(db_index=True)

    class Meta:
        constraints = (
            models.UniqueConstraint(fields=("key_sha256",), name="stored_answer_once_a_key"),
        )

    def __str__(self) -> str:
        return f"answer {self.pk}"


class CallCount(models.Model):
    """Calls of one caller in one window of time.

    ``caller`` is a keyed digest of who calls, what is counted and the day, so that neither an
    address nor a keeper can be told from it. The table is unlogged: it is emptied by a crash of
    the database, and written without one.
    """

    caller = models.BinaryField(primary_key=True, max_length=DIGEST_BYTES)
    n = models.PositiveIntegerField()
    is_refused = models.BooleanField()
    ends_at = models.DateTimeField(db_index=True)

    def __str__(self) -> str:
        return f"{self.n} until {self.ends_at:%H:%M:%S}"
