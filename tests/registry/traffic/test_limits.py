"""Limits on calls and on what is made a day: exact, told, and given back."""

from __future__ import annotations

import secrets
import threading
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
import time_machine
from django.db import connection, connections
from django.utils import timezone

from registry.clutches.models import Clutch
from registry.errors import TooManyRequestsError
from registry.keepers.models import Keeper
from registry.traffic import limits
from registry.traffic.callers import Caller
from registry.traffic.limits import CLUTCHES, calls_counted, cap_counted, counts_sweep
from registry.traffic.models import CallCount
from tests.factories.registry import Api, clutch, gecko, joined, stored

pytestmark = pytest.mark.django_db

SOMEBODY = Caller(is_keeper=False, name="192.0.2.1")


@pytest.fixture(autouse=True)
def _no_midnight(monkeypatch):
    """A window that begins now does not end at midnight while a test runs."""
    monkeypatch.setattr(limits, "_midnight_after", lambda _day: timezone.now() + timedelta(days=1))


@pytest.fixture
def keeper(settings) -> Api:
    gecko()
    keeper = joined()
    settings.BROODCOUNT_RATE_LIMITS = True
    settings.BROODCOUNT_RATE_KEEPER = 3
    settings.BROODCOUNT_RATE_ANONYMOUS = 2
    return keeper


def n_left(response: Any) -> str:
    left: str = response.headers["RateLimit"].partition(";t=")[0]
    return left


def test_calls__are_answered_up_to_the_limit_and_told_what_is_left(keeper):
    answers = [keeper.send("get", "keepers/me/") for _ in range(5)]
    assert [one.status_code for one in answers] == [200, 200, 200, 429, 429]
    assert [n_left(one) for one in answers] == [f'"keeper";r={n}' for n in (2, 1, 0, 0, 0)]
    for one in answers:
        assert one.headers["RateLimit-Policy"] == '"keeper";q=3;w=60'
    problem = answers[-1].json()
    assert problem["code"] == "too-many-requests"
    assert answers[-1].headers["Retry-After"] == str(problem["retry_after"])
    assert 1 <= problem["retry_after"] <= 60
    assert answers[-1].headers["RateLimit"].endswith(f";t={problem['retry_after']}")


def test_keeper_and_nobody__are_counted_apart(keeper):
    for _ in range(3):
        keeper.get("keepers/me/")
    assert n_left(Api().send("get", "combinations/")) == '"anonymous";r=1'
    assert n_left(joined_before(keeper).send("get", "keepers/me/")) == '"keeper";r=2'


def joined_before(keeper: Api) -> Api:
    """Another keeper, of whom no call was counted."""
    from registry.keepers.services import keeper_join  # noqa: PLC0415 - past the counted calls

    return Api(keeper_join().token)


@pytest.mark.parametrize(
    ("method", "path", "status"),
    [
        ("get", "keepers/me/", 401),
        ("get", "combinations/?colour=dark", 400),
        ("post", "notation/", 400),
        ("put", "species/", 405),
    ],
)
def test_refusals__count_and_wrong_tokens_as_nobody(keeper, method, path, status):
    wrong = Api("bck_wrong") if status == 401 else Api()
    sent = wrong.send(method, "/api/v1/" + path)
    assert (sent.status_code, n_left(sent)) == (status, '"anonymous";r=1')
    Api().get("combinations/")
    assert wrong.send("get", "keepers/me/").status_code == 429
    assert keeper.send("get", "keepers/me/").status_code == 200


def test_options_and_304__are_free(keeper):
    for _ in range(4):
        assert Api().client.options("/api/v1/combinations/").status_code == 200
    etag = keeper.send("get", "keepers/me/").headers["ETag"]
    for _ in range(5):
        again = keeper.send("get", "keepers/me/", headers={"If-None-Match": etag})
        assert (again.status_code, n_left(again)) == (304, '"keeper";r=2')
    assert [keeper.send("get", "keepers/me/").status_code for _ in range(3)] == [200, 200, 429]


def test_off__counts_nothing_and_says_nothing(keeper, settings):
    settings.BROODCOUNT_RATE_LIMITS = False
    answers = [keeper.send("get", "keepers/me/") for _ in range(5)]
    assert {one.status_code for one in answers} == {200}
    assert not any("RateLimit" in one.headers for one in answers)
    assert not CallCount.objects.exists()


def test_count__is_one_statement(keeper, django_assert_num_queries):
    with django_assert_num_queries(1):
        calls_counted(SOMEBODY)
    with django_assert_num_queries(1):
        calls_counted(SOMEBODY)


def test_window__begins_anew_when_it_has_ended(keeper):
    first = calls_counted(SOMEBODY, 2)
    assert first is not None
    refused = calls_counted(SOMEBODY)
    assert refused is not None
    assert (first.is_refused, refused.is_refused, refused.n) == (False, True, 2)
    CallCount.objects.update(ends_at=timezone.now() - timedelta(hours=1))
    again = calls_counted(SOMEBODY)
    assert again is not None
    assert (again.is_refused, again.n, again.seconds_left) == (False, 1, 60)
    limits.call_given_back(first)  # of a window that is gone
    assert CallCount.objects.get().n == 1


def test_window__ends_at_midnight(keeper, monkeypatch):
    monkeypatch.undo()
    with time_machine.travel(datetime(2026, 3, 1, 23, 59, 50, tzinfo=UTC), tick=False):
        count = calls_counted(SOMEBODY)
    assert count is not None
    assert count.seconds_left == 10


def test_table__holds_no_address_and_no_keeper_and_is_unlogged(keeper):
    keeper.get("keepers/me/")
    Api().get("combinations/")
    with connection.cursor() as cursor:
        cursor.execute("SELECT c::text, encode(caller, 'escape') FROM traffic_callcount c")
        rows = str(cursor.fetchall())
        cursor.execute("SELECT relpersistence FROM pg_class WHERE relname = 'traffic_callcount'")
        assert cursor.fetchone() == ("u",)
    for secret in ("127.0.0.1", keeper.keeper, str(keeper.keeper).replace("-", "")):
        assert secret is not None
        assert secret not in rows
        assert secret.encode().hex() not in rows


def test_sweep__removes_windows_that_have_ended(keeper):
    calls_counted(SOMEBODY)
    CallCount.objects.update(ends_at=timezone.now() - timedelta(seconds=1))
    calls_counted(Caller(is_keeper=False, name="192.0.2.2"))
    assert counts_sweep() == 1
    assert CallCount.objects.count() == 1


def test_sweep__comes_with_one_call_in_many(keeper, monkeypatch):
    calls_counted(SOMEBODY)
    CallCount.objects.update(ends_at=timezone.now() - timedelta(seconds=1))
    other = Caller(is_keeper=False, name="192.0.2.2")
    calls_counted(other)
    assert CallCount.objects.count() == 2
    monkeypatch.setattr(secrets, "randbelow", lambda _below: 0)
    calls_counted(other)
    assert CallCount.objects.count() == 1


# --- by the day -----------------------------------------------------------------------------------


def test_cap_of_clutches__counts_those_that_were_taken(keeper, settings):
    settings.BROODCOUNT_RATE_KEEPER = 100
    settings.BROODCOUNT_DAILY_CLUTCHES = 2
    for _ in range(3):
        assert keeper.refused("post", "clutches/", clutch(season=1900))["status"] == 400
    keeper.post("clutches/", clutch())
    sent = [
        keeper.send("post", "clutches/", clutch(), headers={"Idempotency-Key": "k"})
        for _ in range(3)
    ]
    assert [one.status_code for one in sent] == [201, 201, 201]
    before = stored()
    problem = keeper.refused("post", "clutches/", clutch())
    assert (problem["status"], problem["code"]) == (429, "too-many-requests")
    assert problem["detail"].startswith("At most 2 clutches from one keeper a day: 0 left today")
    assert 60 < problem["retry_after"] <= 86_400
    assert stored() == before
    assert Clutch.objects.count() == 2
    assert joined_before(keeper).send("post", "clutches/", clutch()).status_code == 201


def test_cap_of_new_keepers__is_by_address(keeper, settings):
    settings.BROODCOUNT_RATE_ANONYMOUS = 100
    settings.BROODCOUNT_DAILY_KEEPERS = 2
    before = Keeper.objects.count()
    statuses = [Api().send("post", "keepers/", {}).status_code for _ in range(3)]
    assert statuses == [201, 201, 429]
    assert Keeper.objects.count() == before + 2
    elsewhere = Api().client.post(
        "/api/v1/keepers/", {}, content_type="application/json", REMOTE_ADDR="192.0.2.9"
    )
    assert elsewhere.status_code == 201


def test_cap__takes_all_of_many_or_none(keeper, settings):
    settings.BROODCOUNT_DAILY_CLUTCHES = 10
    cap_counted(CLUTCHES, SOMEBODY, 7)
    with pytest.raises(TooManyRequestsError, match=r"a day: 3 left today; .* in 24 hours"):
        cap_counted(CLUTCHES, SOMEBODY, 4)
    cap_counted(CLUTCHES, SOMEBODY, 3)
    with pytest.raises(TooManyRequestsError, match="a day: 10 left today"):
        cap_counted(CLUTCHES, Caller(is_keeper=True, name="x"), 11)
    cap_counted(CLUTCHES, Caller(is_keeper=True, name="x"), 10)


@pytest.mark.django_db(transaction=True)
def test_calls_counted__is_exact_at_once(keeper, settings):
    settings.BROODCOUNT_RATE_ANONYMOUS = 30
    passed: list[bool] = []
    ready = threading.Barrier(10)

    def call() -> None:
        try:
            ready.wait(timeout=20)
            for _ in range(20):
                count = calls_counted(SOMEBODY)
                assert count is not None
                passed.append(not count.is_refused)
        finally:
            connections.close_all()

    threads = [threading.Thread(target=call) for _ in range(10)]
    for one in threads:
        one.start()
    for one in threads:
        one.join(timeout=60)
    assert (len(passed), sum(passed)) == (200, 30)
