"""Holds: out of the pools at once and back exactly, whatever else goes on."""

from __future__ import annotations

import uuid
from concurrent.futures import ThreadPoolExecutor
from threading import Barrier
from typing import Any

import pytest
from django.db import connection, connections
from django.test.utils import CaptureQueriesContext

from registry.clutches.models import Clutch, LikelyDuplicate
from registry.clutches.services.rebuilding import pools_differences
from registry.errors import ContradictionError, UnknownTokenError
from registry.keepers.models import Hold, Keeper
from registry.moderation.audit import audit_check
from registry.moderation.models import AuditEntry, Moderator
from registry.moderation.services import hold, release
from registry.pools.models import Contribution, PoolRow
from tests.factories.registry import (
    ANY_STATE,
    Api,
    clutch,
    gecko,
    gecko_changed,
    group,
    joined,
    parent,
    statements,
)
from tests.registry.pools.test_services import check_pools

REASON = "Counts that can not be."
NOTE = {"text": "Changed once more.", "source": "invented for demonstration"}


def warden() -> Moderator:
    return Moderator.objects.get_or_create(handle="warden")[0]


def pk_of(keeper: Api) -> uuid.UUID:
    return uuid.UUID(keeper.keeper)


def pooled() -> tuple[list[Any], list[Any]]:
    """Every contribution and every pool row, but for the numbers of the rows themselves."""
    contributions = Contribution.objects.order_by("target__key", "family").values_list(
        "target__key", "family", "keeper", "digest", "n_clutches", "n_hatchlings", "n_hits"
    )
    rows = PoolRow.objects.order_by("target__key", "digest").values_list(
        "target__key", "version", "digest", "content", "n_families"
    )
    return list(contributions), list(rows)


def n_pooled(genes: str) -> tuple[int, int]:
    tried = Api().combination(genes)["tried"]
    return tried["clutches"], tried["hatchlings"]


@pytest.mark.django_db
def test_hold__of_clutches_of_several_catalogue_versions_is_undone_exactly():
    gecko()
    keeper, other = joined(), joined()
    for one in (keeper, other):
        one.post("clutches/", clutch(parent("66% het ashwater", "m-1")))
    gecko_changed()
    keeper.post("clutches/", clutch(parent("66% het ashwater", "m-1"), hatchlings={"normal": 4}))
    keeper.post("clutches/", clutch(parent("het ashwater, het reed", "m-1"), "reed", {"reed": 2}))
    gecko_changed(lambda content: content["notes"].append(NOTE))
    keeper.post("clutches/", clutch("ashwater", parent("het ashwater", "f-1"), {"ashwater": 3}))
    own = Clutch.objects.filter(keeper=pk_of(keeper))
    assert own.values("version").distinct().count() == 3
    before, n_before = pooled(), n_pooled("ashwater")
    assert hold(warden(), pk_of(keeper), REASON) == 4
    assert n_pooled("ashwater") == (1, 6) != n_before
    assert n_pooled("reed") == (0, 0)
    assert not Contribution.objects.filter(keeper=pk_of(keeper)).exists()
    assert pools_differences() == []
    assert release(warden(), pk_of(keeper), "They were right after all.") == 4
    assert pooled() == before
    assert n_pooled("ashwater") == n_before
    assert pools_differences() == []


@pytest.mark.django_db
def test_held_keeper__goes_on_and_nothing_of_it_is_pooled():
    gecko()
    keeper = joined()
    first = keeper.post("clutches/", clutch(parent("66% het ashwater", "m-1")))
    hold(warden(), pk_of(keeper), REASON)
    later = keeper.post("clutches/", clutch(parent("66% het ashwater", "m-1"), "ashwater"))
    line, _summary = keeper.bulk([clutch("het reed", "reed", {"reed": 3, "normal": 2})])
    assert later["held"] == line["held"] == "moderator"
    body = {"kind": "correction", "hatchlings": [group("normal", 8)]}
    path = f"clutches/{first['id']}/revisions/"
    assert keeper.send("post", path, body, headers=ANY_STATE).status_code == 201
    animal = next(one for one in keeper.get("animals/")["results"] if one["label"] == "m-1")
    proven = {"gene": "ashwater", "status": "proven"}
    path = f"animals/{animal['id']}/statuses/"
    assert keeper.send("post", path, proven, headers=ANY_STATE).status_code == 201
    assert {one["held"] for one in keeper.get("clutches/")["results"]} == {"moderator"}
    assert (n_pooled("ashwater"), n_pooled("reed")) == ((0, 0), (0, 0))
    assert pooled() == ([], [])
    assert release(warden(), pk_of(keeper), "They were right after all.") == 3
    assert n_pooled("ashwater") == (2, 14)
    assert n_pooled("reed") == (1, 5)
    assert {one["held"] for one in keeper.get("clutches/")["results"]} == {None}
    check_pools()
    assert pools_differences() == []


@pytest.mark.django_db
def test_release__leaves_out_what_waits_as_a_duplicate():
    gecko()
    first, second = joined(), joined()
    body = clutch("het reed", "reed", {"normal": 7, "reed": 5}, eggs={"laid": 14})
    first.post("clutches/", body)
    copy = second.post("clutches/", body)
    second.post("clutches/", clutch())
    before = pooled()
    hold(warden(), pk_of(second), REASON)
    assert second.get(f"clutches/{copy['id']}/")["held"] == "moderator"
    assert (n_pooled("reed"), n_pooled("ashwater")) == ((1, 12), (0, 0))
    release(warden(), pk_of(second), "They were right after all.")
    assert second.get(f"clutches/{copy['id']}/")["held"] == "duplicate"
    assert LikelyDuplicate.objects.count() == 1
    assert pooled() == before


@pytest.mark.django_db
def test_hold__costs_the_same_statements_for_any_number_of_clutches():
    gecko()
    moderator, found = warden(), []
    for n_clutches in (1, 6):
        keeper = joined()
        for _ in range(n_clutches):
            keeper.post("clutches/", clutch())
        for act in (hold, release):
            with CaptureQueriesContext(connection) as captured:
                assert act(moderator, pk_of(keeper), REASON) == n_clutches
            found.append(len(statements(captured)))
    assert found[:2] == found[2:]


@pytest.mark.django_db
def test_hold__of_a_keeper_who_left_or_twice_is_refused():
    gecko()
    keeper = joined()
    with pytest.raises(UnknownTokenError):
        hold(warden(), uuid.uuid4(), REASON)
    with pytest.raises(ContradictionError, match="is not held"):
        release(warden(), pk_of(keeper), REASON)
    hold(warden(), pk_of(keeper), REASON)
    with pytest.raises(ContradictionError, match="held already"):
        hold(warden(), pk_of(keeper), REASON)
    assert Hold.objects.count() == AuditEntry.objects.count() == 1


N_REPORTERS, N_REPORTS, N_HOLDS = 3, 4, 4


@pytest.mark.django_db(transaction=True)
def test_hold__meets_reports_that_are_under_way():
    """Whoever is first: a held keeper has nothing in the pools, and a release loses nothing."""
    gecko()
    keeper, moderator, together = joined(), warden(), Barrier(N_REPORTERS + 1)

    def reporter(number: int) -> None:
        try:
            together.wait(timeout=30)
            for n in range(N_REPORTS):
                sire = parent("het ashwater", f"m-{(number + n) % 2}")
                # Alike but for the eggs: a report looks for others, and a hold keeps it from that.
                eggs = {"laid": 20 + number * N_REPORTS + n}
                body = clutch(sire, hatchlings={"normal": n + 1}, eggs=eggs)
                Api(keeper.token).post("clutches/", body)
        finally:
            connections.close_all()

    def holder() -> None:
        try:
            together.wait(timeout=30)
            for _ in range(N_HOLDS):
                hold(moderator, pk_of(keeper), REASON)
                release(moderator, pk_of(keeper), "They were right after all.")
            hold(moderator, pk_of(keeper), REASON)
        finally:
            connections.close_all()

    with ThreadPoolExecutor(N_REPORTERS + 1) as pool:
        waited_for = [pool.submit(reporter, number) for number in range(N_REPORTERS)]
        for one in [*waited_for, pool.submit(holder)]:
            one.result()
    n_reports = N_REPORTERS * N_REPORTS
    assert Clutch.objects.filter(keeper=pk_of(keeper), is_held=True).count() == n_reports
    assert pooled() == ([], [])
    assert release(moderator, pk_of(keeper), "They were right after all.") == n_reports
    assert n_pooled("ashwater")[0] == n_reports
    assert pools_differences() == []
    trail = audit_check()
    assert (trail.faults, trail.n_entries) == ((), 2 * N_HOLDS + 2)
    assert Keeper.objects.filter(is_held=True).count() == 0
