"""How often somebody may call, and how much a day: counted exactly, in the database.

A count is one statement, an upsert, so any number of workers on any number of hosts counts in one
place. A window begins with its first call and ends at midnight UTC at the latest, when the digest
of the caller changes.
"""

from __future__ import annotations

import secrets
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from math import ceil
from typing import Any, Final

from django.conf import settings
from django.db import connection, transaction
from django.utils import timezone

from registry.errors import TooManyRequestsError
from registry.traffic.callers import Caller
from registry.traffic.choices import (
    SECONDS_OF_A_DAY,
    SECONDS_OF_A_MINUTE,
    SWEEP_ONE_IN,
    SWEEP_ROWS,
)
from registry.wording import counted, wait_text

_CALLS: Final = "calls"


@dataclass(frozen=True, slots=True)
class Count:
    """A caller's window after a call: the policy, what was counted, how long it lasts."""

    policy: str
    limit: int
    seconds: int
    n: int
    is_refused: bool
    seconds_left: int
    digest: bytes
    ends_at: datetime

    @property
    def left(self) -> int:
        """Calls left in the window."""
        return max(self.limit - self.n, 0)


@dataclass(frozen=True, slots=True)
class Cap:
    """So many of something a day, called ``one`` or ``many``; ``setting`` names the number."""

    name: str
    setting: str
    one: str
    many: str

    @property
    def limit(self) -> int:
        """The number, as it is set now."""
        number: int = getattr(settings, self.setting)
        return number


NEW_KEEPERS: Final = Cap(
    "new-keepers",
    "BROODCOUNT_DAILY_KEEPERS",
    "new keeper from one address",
    "new keepers from one address",
)
CLUTCHES: Final = Cap(
    "clutches", "BROODCOUNT_DAILY_CLUTCHES", "clutch from one keeper", "clutches from one keeper"
)
SIGN_INS: Final = Cap(
    "sign-ins",
    "BROODCOUNT_DAILY_SIGN_INS",
    "attempt to sign in from one address",
    "attempts to sign in from one address",
)
REVISIONS: Final = Cap(
    "revisions",
    "BROODCOUNT_DAILY_REVISIONS",
    "revision, opinion or breeding result from one keeper",
    "revisions, opinions and breeding results from one keeper",
)


def calls_counted(caller: Caller, n: int = 1) -> Count | None:
    """Count calls of somebody; None where nothing is limited. Call it outside of a transaction.

    A refused call does not count, so whoever goes on calling is not locked out for longer.
    """
    if not settings.BROODCOUNT_RATE_LIMITS:
        return None
    limit = (
        settings.BROODCOUNT_RATE_KEEPER if caller.is_keeper else settings.BROODCOUNT_RATE_ANONYMOUS
    )
    return _count(caller, _CALLS, policy=caller.kind, limit=limit, seconds=SECONDS_OF_A_MINUTE, n=n)


def cap_counted(cap: Cap, caller: Caller, n: int = 1) -> None:
    """Count ``n`` more of what is capped by the day: all of them, or none and a refusal.

    Inside a transaction the count is undone with it; its row stays locked until then.

    Raises
    ------
    TooManyRequestsError
    """
    if not settings.BROODCOUNT_RATE_LIMITS:
        return
    policy, limit = cap.name, cap.limit
    count = _count(caller, cap.name, policy=policy, limit=limit, seconds=SECONDS_OF_A_DAY, n=n)
    if count.is_refused:
        raise TooManyRequestsError(
            f"At most {counted(limit, cap.one, cap.many)} a day: {count.left} left today; more are "
            f"taken again in {wait_text(count.seconds_left)}.",
            retry_after=count.seconds_left,
        )


@contextmanager
def capped(cap: Cap, caller: Caller, n: int = 1) -> Iterator[None]:
    """A write that counts towards a cap only if it succeeds: count and write in one transaction."""
    if not settings.BROODCOUNT_RATE_LIMITS:
        yield
        return
    with transaction.atomic():
        cap_counted(cap, caller, n)
        yield


_COUNT: Final = """
INSERT INTO traffic_callcount AS c (caller, n, is_refused, ends_at)
VALUES (
    %(caller)s,
    CASE WHEN %(n)s <= %(limit)s THEN %(n)s ELSE 0 END,
    %(n)s > %(limit)s,
    statement_timestamp() + %(lasts)s
)
ON CONFLICT (caller) DO UPDATE SET
    (n, is_refused, ends_at) = (
        SELECT
            CASE WHEN now.n + %(n)s <= %(limit)s THEN now.n + %(n)s ELSE now.n END,
            now.n + %(n)s > %(limit)s,
            CASE WHEN now.is_over THEN EXCLUDED.ends_at ELSE c.ends_at END
        FROM (
            SELECT c.ends_at <= statement_timestamp() AS is_over,
                   CASE WHEN c.ends_at <= statement_timestamp() THEN 0 ELSE c.n END AS n
        ) AS now
    )
RETURNING n, is_refused, ends_at,
    extract(epoch FROM ends_at - statement_timestamp())::float8
"""


def _count(caller: Caller, scope: str, *, policy: str, limit: int, seconds: int, n: int) -> Count:
    now = timezone.now()
    digest = caller.digest(scope, now.date())
    lasts = min(timedelta(seconds=seconds), _midnight_after(now.date()) - now)
    given: dict[str, Any] = {"caller": digest, "n": n, "limit": limit, "lasts": lasts}
    with connection.cursor() as cursor:
        cursor.execute(_COUNT, given)
        n_counted, is_refused, ends_at, left = cursor.fetchone()
    if secrets.randbelow(SWEEP_ONE_IN) == 0:
        counts_sweep()
    return Count(
        policy=policy,
        limit=limit,
        seconds=seconds,
        n=n_counted,
        is_refused=is_refused,
        seconds_left=max(ceil(left), 1),
        digest=digest,
        ends_at=ends_at,
    )


def _midnight_after(day: date) -> datetime:
    return datetime.combine(day + timedelta(days=1), time(), tzinfo=UTC)


_GIVE_BACK: Final = """
UPDATE traffic_callcount SET n = greatest(n - 1, 0)
WHERE caller = %s AND ends_at = %s
"""


def call_given_back(count: Count) -> None:
    """Take one call out of the count again, if its window still lasts."""
    with connection.cursor() as cursor:
        cursor.execute(_GIVE_BACK, [count.digest, count.ends_at])


_SWEEP: Final = """
DELETE FROM traffic_callcount WHERE caller IN (
    SELECT caller FROM traffic_callcount WHERE ends_at < statement_timestamp()
    ORDER BY ends_at LIMIT %s FOR UPDATE SKIP LOCKED
)
"""


def counts_sweep(*, n_rows: int | None = SWEEP_ROWS) -> int:
    """Remove windows that have ended; how many. Rows that somebody counts in are left alone."""
    with connection.cursor() as cursor:
        cursor.execute(_SWEEP, [n_rows])
        return int(cursor.rowcount)
