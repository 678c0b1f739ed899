"""Limits on calls over two real workers: exactly as many pass as are allowed."""

from __future__ import annotations

import json
import threading
import time
from collections import Counter
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from tests.factories.service import Served, address_of, own_database, served

pytestmark = pytest.mark.skipif(
    not Path("/proc/self/cwd").exists(), reason="finds the workers in /proc"
)

N_CALLS = 200
LIMIT = 30


def passed(service: Served, path: str, headers: dict[str, str]) -> tuple[Counter[int], list[str]]:
    """Statuses of 200 calls at once, and the numbers of calls left that the good ones told."""
    ready = threading.Barrier(20)

    def client(_number: int) -> list[tuple[int, dict[str, str]]]:
        ready.wait(timeout=20)
        found = []
        for _ in range(N_CALLS // 20):
            status, _body, named = service.call("GET", path, headers=headers)
            found.append((status, named))
        return found

    with ThreadPoolExecutor(20) as pool:
        answers = [one for found in pool.map(client, range(20)) for one in found]
    for status, named in answers:
        assert ("retry-after" in named) is (status == 429)
    told = [named["ratelimit"].split(";")[1] for status, named in answers if status == 200]
    return Counter(status for status, _named in answers), told


def away_from_midnight() -> None:
    """Windows end at midnight UTC; so does the day of this test, if that is near."""
    now = datetime.now(UTC)
    midnight = now.replace(hour=0, minute=0, second=0, microsecond=0) + timedelta(days=1)
    if midnight - now < timedelta(seconds=60):
        time.sleep((midnight - now).total_seconds() + 1)


def test_two_hundred_calls_at_once__over_two_workers_let_exactly_thirty_pass(tmp_path, settings):
    """A keeper, and two who are nobody at different addresses, as a proxy tells them."""
    away_from_midnight()
    with (
        own_database(address_of(settings), "broodcount limits") as url,
        served(
            tmp_path,
            url=url,
            BROODCOUNT_RATE_KEEPER=str(LIMIT),
            BROODCOUNT_RATE_ANONYMOUS=str(LIMIT),
            BROODCOUNT_TRUSTED_PROXIES="1",
        ) as service,
    ):
        assert len(service.workers()) == 2
        elsewhere = {"X-Forwarded-For": "198.51.100.1"}
        new = json.loads(service.call("POST", "keepers/", {}, elsewhere)[1])
        callers = [
            ("keepers/me/", {"Authorization": f"Bearer {new['token']}"}),
            ("combinations/", {"X-Forwarded-For": "203.0.113.1, 198.51.100.2"}),
            ("combinations/", {"X-Forwarded-For": "203.0.113.1, 198.51.100.3"}),
        ]
        for path, headers in callers:
            statuses, told = passed(service, path, headers)
            assert statuses == {200: LIMIT, 429: N_CALLS - LIMIT}
            assert sorted(told, key=lambda one: int(one[2:])) == [f"r={n}" for n in range(LIMIT)]
