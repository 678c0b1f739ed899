"""Clutches that join a declared pairing."""

from __future__ import annotations

import pytest
import time_machine

from registry.clutches.models import Clutch
from registry.pools.models import Contribution
from tests.factories.registry import GECKO, gecko, joined

pytestmark = pytest.mark.django_db

NORMALS = [{"call": "normal", "count": 5}]


@pytest.fixture
def declared():
    gecko()
    keeper = joined()
    pairing = keeper.post(
        "pairings/",
        {
            "species": GECKO,
            "season": 2025,
            "sire": {"genes": "66% het ashwater"},
            "dam": {"genes": "ashwater"},
        },
    )
    return keeper, pairing["id"]


def body(pairing, season=2025):
    return {"species": GECKO, "season": season, "pairing": pairing, "hatchlings": NORMALS}


def report(keeper, pairing, season=2025):
    return keeper.post("clutches/", body(pairing, season))


def test_unlabelled_parents__are_the_same_in_all_clutches_of_a_declaration(declared):
    """Two clutches of five normals: 1/3 + 2/3 / 2**10, not (1/3 + 2/3 / 2**5)**2."""
    keeper, pairing = declared
    for _clutch in range(2):
        report(keeper, pairing)
    tried = keeper.combination("ashwater")["tried"]
    assert tried["hatchlings"] == 10
    assert tried["chance_of_none"] == pytest.approx(1 / 3 + 2 / 3 / 2**10, rel=1e-12)


def test_unlabelled_parents__are_others_in_clutches_without_a_declaration(declared):
    keeper, _pairing = declared
    parents = {"sire": {"genes": "66% het ashwater"}, "dam": {"genes": "ashwater"}}
    for _clutch in range(2):
        keeper.post(
            "clutches/", {"species": GECKO, "season": 2025, "hatchlings": NORMALS} | parents
        )
    tried = keeper.combination("ashwater")["tried"]
    assert tried["chance_of_none"] == pytest.approx((1 / 3 + 2 / 3 / 2**5) ** 2, rel=1e-12)


def test_withdrawing__leaves_the_other_clutch_of_the_declaration(declared):
    keeper, pairing = declared
    first = report(keeper, pairing)["id"]
    report(keeper, pairing)
    keeper.delete(f"clutches/{first}/")
    tried = keeper.combination("ashwater")["tried"]
    assert tried["chance_of_none"] == pytest.approx(1 / 3 + 2 / 3 / 2**5, rel=1e-12)


@pytest.mark.parametrize(
    ("declared_on", "season", "counts"),
    [
        ("2025-01-01T00:00:00Z", 2025, True),
        ("2025-12-31T23:59:59Z", 2025, True),
        ("2025-12-31T23:59:59Z", 2026, True),
        ("2026-01-01T00:00:00Z", 2025, False),
        ("2026-01-01T00:00:00Z", 2026, True),
        ("2026-11-25T00:00:00Z", 2025, False),
    ],
)
def test_declared__is_a_clutch_of_no_season_before_the_declaration(declared_on, season, counts):
    """The pairing is of 2025; a late declaration is taken, and proves nothing of older clutches."""
    gecko()
    keeper = joined()
    parents = {"sire": {"genes": "66% het ashwater"}, "dam": {"genes": "ashwater"}}
    with time_machine.travel(declared_on, tick=False):
        pairing = keeper.post("pairings/", {"species": GECKO, "season": 2025} | parents)["id"]
    with time_machine.travel("2026-11-26T00:00:00Z", tick=False):
        made = report(keeper, pairing, season)
        assert (made["declared"], made["pairing"]) == (counts, pairing)
        assert keeper.get(f"clutches/{made['id']}/") == made
        told = "true" if counts else "false"
        assert [one["id"] for one in keeper.get("clutches/", declared=told)["results"]] == [
            made["id"]
        ]
    assert Clutch.objects.get().is_declared is counts
    assert set(Contribution.objects.values_list("n_declared", flat=True)) == {int(counts)}


def test_declared__of_a_past_season_shares_its_parents_all_the_same(declared):
    keeper, pairing = declared
    assert [report(keeper, pairing)["declared"] for _clutch in range(2)] == [False, False]
    tried = keeper.combination("ashwater")["tried"]
    assert tried["chance_of_none"] == pytest.approx(1 / 3 + 2 / 3 / 2**10, rel=1e-12)


def test_season__before_the_declared_one_is_refused(declared):
    keeper, pairing = declared
    problem = keeper.refused("post", "clutches/", body(pairing, 2024))
    assert problem["errors"][0]["pointer"] == "#/season"
    assert "declared for 2025" in problem["detail"]
    assert not Clutch.objects.exists()
    report(keeper, pairing, 2026)
