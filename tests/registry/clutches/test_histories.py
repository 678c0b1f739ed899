"""Any history of reports and what becomes of them: the pools equal a rebuild from the clutches."""

from __future__ import annotations

import random
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import pytest
from django.core.management import CommandError, call_command
from django.db import connection, connections, transaction

from registry.clutches.models import Clutch, LikelyDuplicate
from registry.clutches.services.holding import keeper_hold, keeper_release
from registry.clutches.services.rebuilding import pools_differences, pools_rebuild
from registry.keepers.models import Keeper
from registry.pools.models import Contribution, PoolRow
from tests.factories.locks import until_waited_for
from tests.factories.registry import (
    ANY_STATE,
    GECKO,
    Api,
    clutch,
    gecko,
    gecko_changed,
    group,
    joined,
    parent,
)
from tests.registry.pools.test_services import check_pools, some_clutch

pytestmark = pytest.mark.django_db

EGGS = {"laid": 15, "infertile": 1, "died": 2}


class History:
    """Keepers who do whatever keepers and moderators can do, drawn from a seed."""

    def __init__(self, seed: int) -> None:
        self.chosen = random.Random(seed)
        self.keepers = [joined() for _ in range(3)]
        self.clutches: list[tuple[Api, str]] = []
        self.done: dict[str, int] = {}

    def step(self) -> None:
        acts = [
            self.report,
            self.report,
            self.copy,
            self.revise,
            self.withdraw,
            self.hold,
            self.release,
            self.decide,
            self.breed,
            self.erase,
        ]
        act = self.chosen.choice(acts if self.clutches else [self.report])
        if act():
            self.done[act.__name__] = self.done.get(act.__name__, 0) + 1

    def _sent(self, keeper: Api, method: str, path: str, body: Any = None) -> Any:
        return keeper.send(method, path, body, headers=ANY_STATE)

    def report(self) -> bool:
        keeper = self.chosen.choice(self.keepers)
        body = some_clutch(self.chosen)
        if self.chosen.random() < 0.5:
            body["eggs"] = EGGS
        refused = keeper.send("post", "clutches/", body)
        if refused.status_code == 400:  # breeding has shown the animal to be otherwise
            for fault in refused.json()["errors"]:
                role, field = fault["pointer"].removeprefix("#/").split("/")
                assert (field, fault["code"]) == ("genes", "contradictory-statement"), fault
                body[role]["genes"] = fault["genes"]
            refused = keeper.send("post", "clutches/", body)
        assert refused.status_code == 201, refused.content
        self.clutches.append((keeper, refused.json()["id"]))
        return True

    def copy(self) -> bool:
        """Somebody else reports the same clutch, by code or by its counts."""
        owner, other = self.chosen.sample(self.keepers, 2)
        code = {"clutch_code": f"code {self.chosen.random()}"} if self.chosen.random() < 0.4 else {}
        body = clutch(
            "ashwater het reed",
            "reed het ashwater",
            {"ashwater": self.chosen.randint(1, 4), "normal": 3, "pale reed": 2},
            season=self.chosen.randint(2015, 2020),
            eggs=EGGS,
            **code,
        )
        for one in (owner, other):
            self.clutches.append((one, one.post("clutches/", body)["id"]))
        return True

    def revise(self) -> bool:
        owner, clutch_id = self.chosen.choice(self.clutches)
        calls = [
            group(self.chosen.choice(("normal", "ashwater", "reed")), self.chosen.randint(1, 3))
            for _ in range(self.chosen.randint(1, 3))
        ]
        body = {"kind": "correction", "hatchlings": calls, "eggs": {"died": 1}}
        answer = self._sent(owner, "post", f"clutches/{clutch_id}/revisions/", body)
        assert answer.status_code == 201, answer.content
        return True

    def withdraw(self) -> bool:
        owner, clutch_id = self.clutches.pop(self.chosen.randrange(len(self.clutches)))
        assert self._sent(owner, "delete", f"clutches/{clutch_id}/").status_code == 204
        return True

    def hold(self) -> bool:
        keeper_hold(Keeper.objects.get(pk=self.chosen.choice(self.keepers).keeper).pk)
        return True

    def release(self) -> bool:
        held = list(Keeper.objects.filter(is_held=True).order_by("pk"))
        for one in held:
            keeper_release(one.pk)
        return bool(held)

    def decide(self) -> bool:
        keeper = self.chosen.choice(self.keepers)
        pairs = keeper.get("duplicates/")["results"]
        if not pairs:
            return False
        pair = self.chosen.choice(pairs)
        verdict = {"verdict": self.chosen.choice(("same", "different"))}
        answer = self._sent(keeper, "put", f"duplicates/{pair['id']}/", verdict)
        assert answer.status_code == 200, answer.content
        return True

    def breed(self) -> bool:
        keeper = self.chosen.choice(self.keepers)
        animals = keeper.get("animals/")["results"]
        if not animals:
            return False
        path = f"animals/{self.chosen.choice(animals)['id']}/statuses/"
        said = {
            "gene": self.chosen.choice(("ashwater", "reed")),
            "status": self.chosen.choice(("proven", "disproved")),
        }
        return bool(self._sent(keeper, "post", path, said).status_code == 201)

    def erase(self) -> bool:
        """Rarely: somebody leaves, and somebody new comes."""
        if self.chosen.random() < 0.7:
            return False
        gone = self.keepers.pop(self.chosen.randrange(3))
        assert self._sent(gone, "delete", "keepers/me/").status_code == 200
        self.clutches = [one for one in self.clutches if one[0] is not gone]
        self.keepers.append(joined())
        return True


def run(seed: int, n_steps: int) -> dict[str, int]:
    gecko()
    history = History(seed)
    for number in range(n_steps):
        if number == n_steps // 2 and seed % 3 == 0:
            gecko_changed()
        history.step()
    differences = pools_differences()
    assert differences == [], (seed, differences)
    # A report waits just while another one of the same clutch counts; so each clutch counts once.
    pairs = list(
        LikelyDuplicate.objects.select_related("earlier", "later").order_by(
            "later__reported_at", "later"
        )
    )
    for earlier in {one.earlier for one in pairs}:
        copies = [one for one in pairs if one.earlier == earlier and one.state != "dismissed"]
        reports = [earlier, *(one.later for one in copies)]
        standing = next((one for one in reports if not one.is_held), None)
        place = reports.index(standing) if standing else len(reports)
        waits = [one.later.is_duplicate for one in copies]
        assert waits == [number > place for number in range(1, len(reports))], seed
    assert not any(one.later.is_duplicate for one in pairs if one.state == "dismissed"), seed
    waiting = Clutch.objects.filter(is_duplicate=True).count()
    assert waiting == sum(one.later.is_duplicate for one in pairs)
    for one in history.keepers:
        assert history._sent(one, "delete", "keepers/me/").status_code == 200
    assert not Contribution.objects.exists()
    assert not PoolRow.objects.exists()
    return history.done


@pytest.mark.parametrize("first", range(0, 12, 4))
def test_pools__equal_a_rebuild_after_random_histories(first):
    done: dict[str, int] = {}
    for seed in range(first, first + 4):
        for act, n in run(seed, 25).items():
            done[act] = done.get(act, 0) + n
    assert set(done) >= {"report", "copy", "revise", "withdraw", "hold", "breed"}


@pytest.mark.slow
def test_pools__equal_a_rebuild_after_a_thousand_histories():
    done: dict[str, int] = {}
    for seed in range(1000, 2000):
        for act, n in run(seed, 12).items():
            done[act] = done.get(act, 0) + n
    assert len(done) == 9
    assert min(done.values()) > 20


# --- holds --------------------------------------------------------------------------------------


def test_hold__takes_everything_out_and_release_brings_it_back():
    gecko()
    keeper, other = joined(), joined()
    for one in (keeper, other):
        one.post("clutches/", clutch(parent("het ashwater", "m-1"), hatchlings={"normal": 5}))
        one.post("clutches/", clutch(parent("het reed", "m-1"), "reed", {"normal": 2, "reed": 1}))
    before = Api().combination("ashwater"), Api().combination("reed")
    assert keeper_hold(Keeper.objects.get(pk=keeper.keeper).pk) == 2
    assert Api().combination("ashwater")["tried"]["clutches"] == 1
    held = keeper.post("clutches/", clutch(parent("het ashwater", "m-1"), hatchlings={"normal": 9}))
    assert held["held"] == "moderator"
    assert Api().combination("ashwater")["tried"]["hatchlings"] == 5
    check_pools()
    keeper.delete(f"clutches/{held['id']}/")
    assert keeper_release(Keeper.objects.get(pk=keeper.keeper).pk) == 2
    assert (Api().combination("ashwater"), Api().combination("reed")) == before
    assert pools_differences() == []


def test_hold__leaves_duplicates_out_after_the_release():
    gecko()
    first, second = joined(), joined()
    body = clutch("het reed", "reed", {"normal": 7, "reed": 5}, eggs=EGGS)
    first.post("clutches/", body)
    assert second.post("clutches/", body)["held"] == "duplicate"
    pk = Keeper.objects.get(pk=second.keeper).pk
    keeper_hold(pk)
    keeper_release(pk)
    assert Clutch.objects.filter(is_duplicate=True).count() == LikelyDuplicate.objects.count() == 1
    assert Api().combination("reed")["tried"]["clutches"] == 1


# --- the rebuild itself -------------------------------------------------------------------------


def spoil_a_count() -> None:
    Contribution.objects.filter(pk=Contribution.objects.first().pk).update(n_hatchlings=99)  # type: ignore[union-attr]


def spoil_a_row() -> None:
    PoolRow.objects.update(n_families=7)


def spoil_a_family() -> None:
    other = Clutch.objects.get(sire__label="m-2").family
    Clutch.objects.filter(sire__label="m-1", dam=None, season=2025).update(family=other)


def lose_a_contribution() -> None:
    Contribution.objects.first().delete()  # type: ignore[union-attr]


@pytest.mark.parametrize("spoil", [spoil_a_count, spoil_a_row, spoil_a_family, lose_a_contribution])
def test_rebuild__finds_and_repairs_what_is_wrong(spoil, capsys):
    gecko()
    keeper = joined()
    keeper.post("clutches/", clutch(parent("66% het ashwater", "m-1")))
    keeper.post("clutches/", clutch(parent("66% het ashwater", "m-1"), "ashwater"))
    keeper.post("clutches/", clutch(parent("66% het ashwater", "m-2")))
    call_command("pools", "rebuild", "--check")
    answer = Api().combination("ashwater")
    spoil()
    with pytest.raises(CommandError, match="differ"):
        call_command("pools", "rebuild", "--check")
    told = capsys.readouterr().err
    assert "follows from the clutches" in told or "share an animal" in told
    call_command("pools", "rebuild")
    assert pools_differences() == []
    check_pools()
    assert Api().combination("ashwater") == answer
    assert pools_rebuild() == 2
    assert Api().get(f"combinations/{GECKO}/ashwater/") == answer


@pytest.mark.django_db(transaction=True)
def test_rebuild__waits_for_the_first_report_of_a_newcomer():
    """The lock on keepers who have clutches does not keep out one who is to have the first."""
    gecko()
    body = clutch()
    joined().post("clutches/", body)
    newcomer = joined()

    def rebuild() -> int:
        try:
            return pools_rebuild()
        finally:
            connections.close_all()

    with ThreadPoolExecutor(1) as pool:
        with transaction.atomic(), connection.cursor() as cursor:
            newcomer.post("clutches/", body)
            rebuilding = pool.submit(rebuild)
            until_waited_for(cursor)
        assert rebuilding.result(timeout=30) == 2
    assert pools_differences() == []
    assert Api().combination("ashwater")["tried"]["clutches"] == 2
