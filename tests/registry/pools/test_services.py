"""Pools after any history of reports and withdrawals, and while many keepers report at once."""

from __future__ import annotations

import json
import random
import threading
from collections import Counter
from functools import partial
from typing import Any

import pytest
from django.db import connections

from registry.catalogue.selectors import version_loaded
from registry.clutches.bridge.reports import contributions_of, family_clutch_of
from registry.clutches.models import COUNTED, Clutch, HatchlingGroup
from registry.clutches.services import families as clutch_families
from registry.clutches.services import reporting
from registry.keepers.models import Keeper
from registry.pools.models import Contribution, PooledTarget, PoolRow
from tests.factories.registry import (
    ANY_STATE,
    Api,
    clutch,
    gecko,
    gecko_changed,
    group,
    joined,
    many,
    parent,
    stored,
)

COUNTS = (
    "n_clutches",
    "n_declared",
    "n_clutches_with_hit",
    "n_hatchlings",
    "n_hits",
    "n_hits_possible",
    "first_hit_season",
)


# --- a second, slow version: every family from its clutches ------------------------------------


def families() -> list[list[Clutch]]:
    """Stored clutches by keeper, version and shared animals, joined until nothing changes."""
    groups: list[tuple[set[Any], list[Clutch]]] = []
    for one in Clutch.objects.filter(COUNTED).order_by("reported_at", "pk"):
        marks = {(one.keeper_id, one.version_id, animal) for animal in (one.sire_id, one.dam_id)}
        groups.append(({mark for mark in marks if mark[2] is not None}, [one]))
    i = 0
    while i < len(groups):
        j = next((j for j in range(i + 1, len(groups)) if groups[i][0] & groups[j][0]), None)
        if j is None:
            i += 1
            continue
        marks, clutches = groups.pop(j)
        groups[i] = (groups[i][0] | marks, groups[i][1] + clutches)
        i = 0
    return [sorted(found, key=lambda one: (one.reported_at, one.pk)) for _marks, found in groups]


def rebuilt() -> tuple[Counter[Any], Counter[Any]]:
    """Contributions and pool rows as they follow from the stored clutches."""
    parts: Counter[Any] = Counter()
    rows: Counter[Any] = Counter()
    for family in families():
        loaded = version_loaded(family[0].version_id)
        clutches = [
            family_clutch_of(
                loaded,
                one,
                list(
                    HatchlingGroup.objects.filter(clutch=one)
                    .order_by("place")
                    .values("count", "sex", "readings")
                ),
            )
            for one in family
        ]
        for found in contributions_of(loaded, clutches):
            counts = tuple(getattr(found.contribution, name) for name in COUNTS)
            parts[found.target.key, family[0].keeper_id, found.digest, counts] += 1
            rows[found.target.key, loaded.version_id, found.digest, found.content] += 1
    return parts, rows


def kept() -> tuple[Counter[Any], Counter[Any]]:
    """Contributions and pool rows as they are stored."""
    parts: Counter[Any] = Counter()
    for one in Contribution.objects.select_related("target"):
        counts = tuple(getattr(one, name) for name in COUNTS)
        parts[one.target.key, one.keeper_id, one.digest, counts] += 1
    rows: Counter[Any] = Counter()
    for row in PoolRow.objects.select_related("target"):
        content = json.dumps(row.content, sort_keys=True, separators=(",", ":"))
        rows[row.target.key, row.version_id, row.digest, content] += row.n_families
    return parts, rows


def check_pools() -> None:
    """Stored equals rebuilt; nothing is empty or negative; the answers add up."""
    assert kept() == rebuilt()
    assert not PoolRow.objects.filter(n_families__lt=1).exists()
    assert Contribution.objects.values("target", "family").distinct().count() == (
        Contribution.objects.count()
    )
    totals: Counter[str] = Counter()
    hits: Counter[str] = Counter()
    for one in Contribution.objects.select_related("target"):
        totals[one.target.combination] += one.n_hatchlings
        hits[one.target.combination] += one.n_hits
    told = [row for page in Api().pages("combinations/", page_size=200) for row in page]
    assert {one["combination"]: one["tried"]["hatchlings"] for one in told} == dict(totals)
    assert {one["combination"]: one["produced"]["hatchlings"] for one in told} == {
        name: hits[name] for name in totals
    }


# --- histories ----------------------------------------------------------------------------------

SIRES = ("het ashwater tidemark", "66% het ashwater", "het ashwater, het reed", "wickglow")
DAMS = ("het ashwater", "ashwater tidemark", "66% het reed het ashwater", "super wickglow tidemark")
CALLS = ("normal", "ashwater", "tidemark", "ashwater tidemark", "reed", "quillback", "wickglow")


def some_clutch(chosen: random.Random) -> dict[str, Any]:
    hatchlings = [
        group(
            (readings := chosen.sample(CALLS, 2))[0],
            chosen.randint(1, 4),
            *(readings[1:] if chosen.random() < 0.3 else []),
            sex=chosen.choice(("male", "female", "unknown")),
        )
        for _ in range(chosen.randint(0, 3))
    ]
    sire = parent(chosen.choice(SIRES), chosen.choice((None, "m-1", "m-2", "m-3", "m-4")))
    dam = parent(chosen.choice(DAMS), chosen.choice((None, "f-1", "f-2", "f-3", "f-4")))
    return clutch(sire, dam, hatchlings, season=chosen.randint(2020, 2025), eggs={"died": 1})


@pytest.mark.django_db
@pytest.mark.parametrize("seed", range(8))
def test_pools__equal_a_rebuild_after_any_history(seed):
    chosen = random.Random(seed)
    gecko()
    keepers = [joined() for _ in range(2)]
    reported: list[tuple[Api, str]] = []
    for step in range(28):
        if step == 14 and seed % 2:
            gecko_changed()
        keeper = chosen.choice(keepers)
        if reported and chosen.random() < 0.4:
            owner, gone = reported.pop(chosen.randrange(len(reported)))
            owner.delete(f"clutches/{gone}/")
        else:
            reported.append((keeper, keeper.post("clutches/", some_clutch(chosen))["id"]))
        if step % 7 == 6:
            check_pools()
    for owner, gone in reported:
        owner.delete(f"clutches/{gone}/")
    check_pools()
    assert not Contribution.objects.exists()
    assert not PoolRow.objects.exists()


@pytest.mark.django_db
def test_pools__of_a_family_that_falls_apart():
    """The clutch that linked two pairs is withdrawn: they are two families again."""
    gecko()
    keeper = joined()
    sires = {label: parent("66% het ashwater", label) for label in ("m-1", "m-2")}
    dams = {label: parent("66% het ashwater", label) for label in ("f-1", "f-2")}
    keeper.post("clutches/", clutch(sires["m-1"], dams["f-1"], {"normal": 5}))
    keeper.post("clutches/", clutch(sires["m-2"], dams["f-2"], {"normal": 4}))
    apart = kept()
    before = Api().combination("ashwater")
    link = keeper.post("clutches/", clutch(sires["m-1"], dams["f-2"], {"normal": 3}))["id"]
    assert Clutch.objects.values("family").distinct().count() == 1
    check_pools()
    keeper.delete(f"clutches/{link}/")
    assert Clutch.objects.values("family").distinct().count() == 2
    check_pools()
    assert kept() == apart
    assert Api().combination("ashwater") == before
    # The two may come together again, and part in another order.
    link = keeper.post("clutches/", clutch(sires["m-2"], dams["f-1"], {"normal": 3}))["id"]
    check_pools()
    keeper.delete(f"clutches/{link}/")
    assert kept() == apart


@pytest.mark.django_db
def test_pools__of_equal_families_are_one_row():
    gecko()
    for _ in range(5):
        joined().post("clutches/", clutch(parent("het ashwater", "m-1"), hatchlings={"normal": 3}))
    row = PoolRow.objects.get()
    assert row.n_families == 5
    assert Contribution.objects.count() == 5


@pytest.mark.django_db
def test_pools__keepers_animals_of_one_label_are_different_animals():
    gecko()
    body = clutch(parent("66% het ashwater", "m-1"), hatchlings={"normal": 5})
    joined().post("clutches/", body)
    joined().post("clutches/", body)
    none = Api().combination("ashwater")["tried"]["chance_of_none"]
    assert none == pytest.approx((1 / 3 + 2 / 3 * 0.75**5) ** 2, rel=1e-12)
    check_pools()


# --- transactions -------------------------------------------------------------------------------


@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize("broken", ["families_replace", "_insert", "contributions_of"])
def test_report__that_fails_in_the_middle_leaves_nothing_behind(monkeypatch, broken):
    gecko()
    keeper = joined()
    keeper.post("clutches/", clutch(parent("het ashwater", "m-1")))
    before, pools = stored(), kept()

    def fail(*_args: Any, **_given: Any) -> None:
        raise RuntimeError("the power went")

    body = clutch(parent("het ashwater, het reed", "m-1"), parent("het reed", "f-9"))
    with monkeypatch.context() as patched:
        patched.setattr(reporting, broken, fail)
        problem = keeper.refused("post", "clutches/", body)
        assert (problem["status"], problem["code"]) == (500, "server-error")
        assert "power" not in str(problem)
    assert (stored(), kept()) == (before, pools)
    keeper.post("clutches/", body)
    check_pools()


@pytest.mark.django_db(transaction=True)
def test_withdrawal__that_fails_in_the_middle_leaves_everything(monkeypatch):
    gecko()
    keeper = joined()
    own = keeper.post("clutches/", clutch(parent("het ashwater", "m-1")))["id"]
    before, pools = stored(), kept()

    def fail(*_args: Any, **_given: Any) -> None:
        raise RuntimeError("the power went")

    with monkeypatch.context() as patched:
        patched.setattr(clutch_families, "families_replace", fail)
        assert keeper.refused("delete", f"clutches/{own}/", headers=ANY_STATE)["status"] == 500
    assert (stored(), kept()) == (before, pools)


# --- many at once -------------------------------------------------------------------------------


def at_once(work: list[Any]) -> list[BaseException]:
    """Run each piece of work in a thread of its own; what they raised."""
    wrong: list[BaseException] = []
    ready = threading.Barrier(len(work))

    def run(piece: Any) -> None:
        try:
            ready.wait(timeout=20)
            piece()
        except BaseException as error:  # noqa: BLE001 - handed to the test
            wrong.append(error)
        finally:
            connections.close_all()

    threads = [threading.Thread(target=run, args=(piece,)) for piece in work]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(timeout=60)
        assert not thread.is_alive(), "a thread is stuck"
    return wrong


@pytest.mark.django_db(transaction=True)
def test_reports__at_once_by_many_keepers_add_up():
    gecko()
    keepers = [joined() for _ in range(4)]
    bodies = [
        clutch("het ashwater tidemark", "het ashwater tidemark", {"normal": 3, "ashwater": 1}),
        clutch(parent("het ashwater, het reed", "m-1"), "het ashwater, het reed", {"normal": 5}),
        clutch("tidemark, wickglow", parent("tidemark, het reed", "f-1"), {"tidemark": 2}),
        clutch(parent("66% het ashwater", "m-1"), parent("het ashwater", "f-1"), {"normal": 4}),
    ]

    def work(keeper: Api, shift: int) -> Any:
        def run() -> None:
            for step in range(5):
                answer = keeper.post("clutches/", bodies[(shift + step) % 4])
                if step == 2:
                    Api().get("combinations/", page_size=5)
                if step == 3:
                    keeper.delete(f"clutches/{answer['id']}/")

        return run

    # Two threads of each keeper: their animals are the same ones.
    assert at_once([work(keepers[n % 4], n) for n in range(8)]) == []
    assert Clutch.objects.count() == 8 * 4
    expected = Counter({"normal": 0})
    for one in HatchlingGroup.objects.all():
        expected[one.call] += one.count
    assert Api().combination("ashwater")["produced"]["hatchlings"] == expected["ashwater"]
    check_pools()


@pytest.mark.django_db(transaction=True)
def test_reports__of_many_targets_at_once_do_not_block_each_other():
    gecko()
    keepers = [joined() for _ in range(6)]
    before = PooledTarget.objects.count()
    bodies = [many(), clutch("het dewline tidemark", "het dewline, wickglow", {"normal": 2})]
    work = [partial(one.post, "clutches/", bodies[n % 2]) for n, one in enumerate(keepers)]
    assert at_once(work) == []
    assert before == 0
    assert PooledTarget.objects.filter(key="ml-dewline: Dewline").count() == 1
    assert Api().combination("dewline")["tried"]["hatchlings"] == 3 * 32 + 3 * 2
    check_pools()


@pytest.mark.django_db(transaction=True)
def test_animals__named_at_once_for_the_first_time_are_one_animal():
    gecko()
    keeper = joined()
    body = clutch(parent("66% het ashwater", "m-1"), hatchlings={"normal": 2})
    assert at_once([partial(keeper.post, "clutches/", body)] * 8) == []
    assert Clutch.objects.values("family").distinct().count() == 1
    assert stored()["pairings.Animal"] == 1
    check_pools()


@pytest.mark.django_db(transaction=True)
@pytest.mark.parametrize("label", ["m-1", None])
def test_report__of_a_keeper_who_left_meanwhile_is_refused(monkeypatch, label):
    gecko()
    keeper = joined()
    read = reporting._read

    def leave(*args: Any) -> Any:
        Keeper.objects.all().delete()
        return read(*args)

    before = stored()
    monkeypatch.setattr(reporting, "_read", leave)
    body = clutch(parent("het ashwater", label))
    assert keeper.refused("post", "clutches/", body)["code"] == "unknown-token"
    assert stored() == before | {"keepers.Keeper": 0, "keepers.KeeperToken": 0}
