"""What two keepers do to one clutch at the same moment: nothing fails, and it counts once."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from threading import Barrier
from typing import Any

import pytest
from django.db import connections

from registry.clutches.models import Clutch, LikelyDuplicate
from registry.clutches.services.rebuilding import pools_differences
from tests.factories.registry import ANY_STATE, GECKO, Api, clutch, gecko, joined

pytestmark = pytest.mark.django_db(transaction=True)

N_ROUNDS = 8


def at_once(*calls: Callable[[], int]) -> list[int]:
    """Statuses of calls that begin together, each in a thread of its own."""
    together = Barrier(len(calls))

    def run(call: Callable[[], int]) -> int:
        try:
            together.wait(timeout=30)
            return call()
        finally:
            connections.close_all()

    with ThreadPoolExecutor(len(calls)) as pool:
        return list(pool.map(run, calls))


def status(keeper: Api, method: str, path: str, body: Any = None) -> int:
    """Status of a call; each thread has a client of its own."""
    return int(Api(keeper.token).send(method, path, body, headers=ANY_STATE).status_code)


@pytest.mark.parametrize("leaving", ["withdraw", "erase"])
def test_report_of_what_leaves__counts_once(leaving):
    """While a clutch leaves, two others report it, and one gives an opinion on it."""
    gecko()
    for n in range(N_ROUNDS):
        first, *others = (joined() for _ in range(3))
        body = clutch(clutch_code=f"shelf {n}")
        made = first.post("clutches/", body)
        opinion = {
            "species": GECKO,
            "season": body["season"],
            "clutch_code": body["clutch_code"],
            "hatchlings": body["hatchlings"],
        }
        path = f"clutches/{made['id']}/" if leaving == "withdraw" else "keepers/me/"
        left, one, other, said = at_once(
            lambda first=first, path=path: status(first, "delete", path),
            lambda one=others[0], body=body: status(one, "post", "clutches/", body),
            lambda one=others[1], body=body: status(one, "post", "clutches/", body),
            lambda one=others[1], body=opinion: status(one, "post", "second-opinions/", body),
        )
        assert (left, one, other) == (204 if leaving == "withdraw" else 200, 201, 201)
        # 400: nobody has the code any more, or it is this keeper's own clutch by now.
        assert said in {201, 400}
        (counted,) = Clutch.objects.filter(clutch_code=body["clutch_code"], is_duplicate=False)
        (pair,) = LikelyDuplicate.objects.filter(later__clutch_code=body["clutch_code"])
        assert pair.earlier_id == counted.pk
    assert pools_differences() == []
