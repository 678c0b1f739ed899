"""A write that is answered once, however often it is sent."""

from __future__ import annotations

import secrets
import uuid
from collections.abc import Callable
from datetime import timedelta
from typing import Final

from django.conf import settings
from django.db import connection, transaction
from django.utils import timezone

from registry.errors import KeyInUseError, KeyReusedError
from registry.traffic.choices import RETRY_SECONDS, SWEEP_ONE_IN, SWEEP_ROWS
from registry.traffic.models import StoredAnswer
from registry.traffic.sealing import Answer, key_digest, opened, sealed

_REFUSED: Final = 400


def answer_once(
    *, caller: uuid.UUID | None, key: str, fingerprint: bytes, write: Callable[[], Answer]
) -> Answer:
    """Run a write and keep its answer with it; for a key that was used before, give that answer.

    Three statements beside those of the write. Call it outside of a transaction: what it gives is
    committed then, write and answer together or neither. A write that raises or answers with 400
    or more leaves nothing, so the caller may correct it and send it with the same key.

    The key is taken by an advisory lock that ends with the transaction. Nobody waits for it, and a
    worker that is killed frees it: the database ends the transaction of a connection that closes.
    The lock is a statement of its own, because only a later one surely sees what an earlier holder
    committed.

    Parameters
    ----------
    caller
        The keeper who calls, None for nobody; a key is the caller's own.
    key
        As it was sent, without quotes; for many writes of one call, with the number of each.
    fingerprint
        32 bytes that tell this request from any other.
    write
        Does it and gives the answer; runs at most once.

    Raises
    ------
    KeyInUseError
        The first call with this key still runs.
    KeyReusedError
        The key was used for another request.
    """
    digest = key_digest(caller, key)
    with transaction.atomic():
        _take(digest)
        found = StoredAnswer.objects.filter(key_sha256=digest).values_list("sealed").first()
        if found is not None:
            return _answer_again(bytes(found[0]), key=key, digest=digest, fingerprint=fingerprint)
        answer = write()
        if answer.status >= _REFUSED:
            transaction.set_rollback(True)
            return answer
        StoredAnswer.objects.create(
            keeper_id=answer.owner or caller,
            key_sha256=digest,
            sealed=sealed(answer, key=key, digest=digest, fingerprint=fingerprint),
            stored_at=timezone.now(),
        )
    if secrets.randbelow(SWEEP_ONE_IN) == 0:
        answers_sweep(n_rows=SWEEP_ROWS)
    return answer


def _take(digest: bytes) -> None:
    number = int.from_bytes(digest[:8], "big", signed=True)
    with connection.cursor() as cursor:
        cursor.execute("SELECT pg_try_advisory_xact_lock(%s)", [number])
        (taken,) = cursor.fetchone()
    if not taken:
        raise KeyInUseError(retry_after=RETRY_SECONDS)


def _answer_again(kept: bytes, *, key: str, digest: bytes, fingerprint: bytes) -> Answer:
    first, answer = opened(kept, key=key, digest=digest)
    if first != fingerprint:
        raise KeyReusedError(
            "This Idempotency-Key was sent before, with another body or to another address; "
            "expected a new key for a new call, or the same call as before."
        )
    return answer


_SWEEP: Final = """
DELETE FROM traffic_storedanswer WHERE id IN (
    SELECT id FROM traffic_storedanswer WHERE stored_at < %s
    ORDER BY stored_at LIMIT %s FOR UPDATE SKIP LOCKED
)
"""


def answers_sweep(*, n_rows: int | None = None) -> int:
    """Remove answers that were kept long enough, the oldest first; how many.

    A key whose answer is gone is a new one.
    """
    before = timezone.now() - timedelta(hours=settings.BROODCOUNT_IDEMPOTENCY_HOURS)
    with connection.cursor() as cursor:
        cursor.execute(_SWEEP, [before, n_rows])
        return int(cursor.rowcount)
