"""The work of one call is counted and bounded; an answer never lags without saying so."""

from __future__ import annotations

import threading
from typing import Any

import pytest
from django.db import connection
from django.db.models import F

from registry.pools import locks, services
from registry.pools.bridge import assessments
from registry.pools.locks import refresh_lock
from registry.pools.models import PooledTarget
from registry.pools.services import targets_refresh
from registry.pools.work import Remembered
from tests.factories.registry import GECKO, Api, clutch, gecko, group, joined, parent

GENES = "66% het ashwater 50% het pale reed 33% het quillback 66% het sedge ladder 50% het dewline"

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _nothing_remembered(monkeypatch: pytest.MonkeyPatch) -> None:
    gecko()
    monkeypatch.setattr(assessments, "_SUMS", Remembered())


def report_many() -> None:
    """Families of three keepers whose parents have many possible hets."""
    for number in range(3):
        keeper = joined()
        for dam in range(2):
            body = clutch(
                parent(GENES, "S"), parent(GENES, f"D{dam}"), [group("normal", 4 + number)]
            )
            keeper.post("clutches/", body)


def n_stale() -> int:
    return PooledTarget.objects.filter(assessed_revision__lt=F("revision")).count()


def kept() -> list[Any]:
    """What is stored of every target."""
    return list(PooledTarget.objects.order_by("pk").values())


def test_refresh__beyond_the_limit_is_said_kept_and_ended_by_asking_again(monkeypatch):
    report_many()
    works: list[int] = []
    real = services.assessed

    def counted(*given: Any) -> Any:
        found = real(*given)
        works.append(found.work)
        return found

    monkeypatch.setattr(services, "assessed", counted)
    targets_refresh()
    at_once = kept()
    n_targets, all_work, largest = len(works), sum(works), max(works)
    assert n_targets == PooledTarget.objects.count() > 20

    PooledTarget.objects.update(assessed_revision=0, compared_revision=0, state="no-reports")
    monkeypatch.setattr(assessments, "_SUMS", Remembered())
    limit = all_work // 4
    monkeypatch.setattr(services, "MOST_WORK", limit)
    n_calls, left = 0, n_stale()
    while (response := Api().send("get", "flags/", query={"species": GECKO})).status_code == 503:
        assert response.headers["Retry-After"] == "1"
        assert response.json()["code"] == "not-up-to-date"
        n_done = left - n_stale()
        assert sum(works[len(works) - n_done :]) < limit + largest
        assert n_done or not left
        left, n_calls = n_stale(), n_calls + 1
        assert n_calls < 8
    assert n_calls >= 3
    assert kept() == at_once


def test_refresh__counts_no_sum_twice_that_is_remembered(monkeypatch):
    report_many()
    targets_refresh()
    PooledTarget.objects.update(revision=F("revision") + 1)
    n_targets = PooledTarget.objects.count()
    # 3 rows of each target at 500; anew, each of the 6 pairs alone would take 5,000.
    monkeypatch.setattr(services, "MOST_WORK", n_targets * 3 * 500 * 4)
    assert targets_refresh() == n_targets


@pytest.mark.django_db(transaction=True)
def test_refresh__of_a_species_is_made_by_one_reader_at_a_time(monkeypatch):
    report_many()
    monkeypatch.setattr(locks, "MOST_TRIES", 2)
    is_held, may_go = threading.Event(), threading.Event()

    def hold() -> None:
        with refresh_lock(GECKO):
            is_held.set()
            may_go.wait(20)
        connection.close()

    other = threading.Thread(target=hold)
    other.start()
    assert is_held.wait(20)
    before = n_stale()
    try:
        assert Api().refused("get", "flags/")["code"] == "not-up-to-date"
        assert n_stale() == before > 0
    finally:
        may_go.set()
        other.join(20)
    assert Api().get("flags/") is not None
    assert n_stale() == 0
