"""A flag hangs on no single keeper and on no new ones; the reporting gap is shown."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
import time_machine
from django.utils import timezone

from registry.keepers.models import Keeper
from registry.pools.models import PooledTarget
from tests.factories.registry import GECKO, Api, clutch, gecko, joined, parent

pytestmark = pytest.mark.django_db

PAIR = "ashwater quillback"


@pytest.fixture(autouse=True)
def _species():
    gecko()


def short(n: int, hatchlings: dict[str, int]) -> dict[str, Any]:
    return clutch(
        parent("ashwater het quillback", f"m-{n}"),
        parent("quillback het ashwater", f"f-{n}"),
        hatchlings,
    )


STRONG = {"normal": 20, "ashwater": 20, "quillback": 20}
WEAK = {"normal": 1, "ashwater": 1}
HITS = {"ashwater quillback": 30}


def state() -> str:
    """The state as the answer, the list and the flags tell it, which is the same."""
    answer = Api().combination(PAIR)
    rows = {one["combination"]: one["state"] for one in Api().get("combinations/")["results"]}
    flags = {one["combination"]: one["state"] for one in Api().get("flags/")["results"]}
    assert rows[answer["combination"]] == answer["state"]
    assert flags.get(answer["combination"], answer["state"]) == answer["state"]
    return str(answer["state"])


def test_flag__needs_more_than_one_strong_keeper():
    """Three keepers, and one of them brings all the evidence: on watch, however strong."""
    strong = joined()
    for n in range(4):
        strong.post("clutches/", short(n, STRONG))
    for n in range(2):
        joined().post("clutches/", short(n, WEAK))
    answer = Api().combination(PAIR)
    assert answer["tried"]["keepers"] == 3
    assert answer["evidence"]["e_value"] > 1e6
    assert answer["evidence"]["without_top_keeper"] < 20
    assert state() == "watch"
    joined().post("clutches/", short(9, STRONG))
    assert Api().combination(PAIR)["evidence"]["without_top_keeper"] >= 20
    assert state() == "flagged"


@pytest.mark.parametrize("n_strong", [2, 3, 5])
def test_one_keeper__moves_a_state_by_one_step_at_most(n_strong):
    """Whatever a single keeper hands in, taking it back changes the state by one step upwards."""
    steps = ["no-reports", "too-early", "as-expected", "watch", "flagged"]
    for n in range(n_strong):
        joined().post("clutches/", short(n, STRONG))
    joined().post("clutches/", short(n_strong, WEAK))
    before = state()
    hostile = joined()
    for n in range(10):
        hostile.post("clutches/", short(n, STRONG))
    after = state()
    assert steps.index(after) - steps.index(before) <= 1
    assert after == "flagged"


def test_one_keeper__alone_never_flags():
    keeper = joined()
    for n in range(10):
        keeper.post("clutches/", short(n, STRONG))
    assert state() == "watch"


def test_probation__new_keepers_are_not_counted_yet(settings):
    settings.BROODCOUNT_KEEPER_PROBATION_DAYS = 14
    settings.BROODCOUNT_KEEPER_PROBATION_CLUTCHES = 2
    keepers = [joined() for _ in range(3)]
    for n, one in enumerate(keepers):
        one.post("clutches/", short(n, STRONG))
        one.post("clutches/", short(n, STRONG))
    assert state() == "watch"
    days = [20, 15, 13]
    for one, age in zip(keepers, days, strict=True):
        Keeper.objects.filter(pk=one.keeper).update(joined_at=timezone.now() - timedelta(days=age))
    assert state() == "watch"
    Keeper.objects.filter(pk=keepers[2].keeper).update(
        joined_at=timezone.now() - timedelta(days=14, minutes=1)
    )
    assert state() == "flagged"
    settings.BROODCOUNT_KEEPER_PROBATION_CLUTCHES = 3
    assert state() == "watch"
    settings.BROODCOUNT_KEEPER_PROBATION_DAYS = 0
    assert state() == "flagged"


def test_without_top_keeper__is_stored_near_a_flag_only():
    joined().post("clutches/", short(0, WEAK))
    assert state() == "too-early"
    assert set(PooledTarget.objects.values_list("log10_without_top", flat=True)) == {None}


# --- the reporting gap --------------------------------------------------------------------------


def declared(keeper: Api, season: int, genes: str = "het ashwater") -> str:
    said = {"sire": parent(genes, "m-1"), "dam": parent("het ashwater", "f-1")}
    with time_machine.travel(f"{season}-03-01T12:00:00Z"):
        made = keeper.post("pairings/", {"species": GECKO, "season": season, **said})
    return str(made["id"])


def gap() -> Any:
    return Api().combination("ashwater")["declared_pairings"]


def test_reporting_gap__counts_declared_pairings_of_past_seasons_without_an_outcome():
    this_year = timezone.now().year
    keepers = [joined() for _ in range(3)]
    for one in keepers[:2]:
        declared(one, 2024)
    assert gap() is None  # two keepers
    pairing = declared(keepers[2], 2024)
    assert gap() == {"declared": 3, "without_outcome": 3, "share_without_outcome": 1.0}
    keepers[2].post("clutches/", clutch(None, None, {"normal": 4}, pairing=pairing))
    declared(keepers[0], this_year)  # its season is not over
    declared(keepers[0], 2024, "het reed")  # says nothing of the combination
    assert gap() == {"declared": 3, "without_outcome": 2, "share_without_outcome": 2 / 3}
    keepers[0].post(
        "pairings/",
        {
            "species": GECKO,
            "season": 2024,
            "sire": parent("het ashwater"),
            "dam": parent("ashwater"),
        },
    )  # declared when its season was over
    # A second clutch of the pairing is no second outcome.
    keepers[2].post("clutches/", clutch(None, None, {"normal": 4}, pairing=pairing))
    assert gap()["without_outcome"] == 2
    assert Api().combination("ashwater", source="published")["declared_pairings"] is None
