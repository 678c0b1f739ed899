"""Pairings over HTTP: declare before hatching, join a clutch to a declaration."""

from __future__ import annotations

from typing import Any

import pytest
import time_machine

from registry.catalogue.services import catalogue_load
from registry.pools.models import Contribution, PooledTarget
from tests.factories.registry import (
    FIXTURES,
    GECKO,
    Api,
    clutch,
    gecko,
    gecko_changed,
    joined,
    parent,
    stored,
    told,
)

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def version():
    return gecko().label


@pytest.fixture
def keeper() -> Api:
    return joined()


def pairing(sire: Any = "het ashwater", dam: Any = "het ashwater", **more: Any) -> dict[str, Any]:
    return {
        "species": GECKO,
        "season": 2025,
        "sire": parent(sire) if isinstance(sire, str) else sire,
        "dam": parent(dam) if isinstance(dam, str) else dam,
        **more,
    }


def test_declare__answers_as_it_was_read(keeper, version):
    with time_machine.travel("2025-02-03T04:05:06Z", tick=False):
        answer = keeper.post("pairings/", pairing(parent("ashen water", "m-1")), status=201)
    own = answer.pop("id")
    assert answer == {
        "species": GECKO,
        "season": 2025,
        "sire": {"genes": "Ashwater", "animal": "m-1"},
        "dam": {"genes": "het Ashwater", "animal": None},
        "declared_at": "2025-02-03T04:05:06Z",
        "catalogue": version,
    }
    assert keeper.get("pairings/")["results"] == [{"id": own, **answer}]


def test_declare__counts_nowhere_yet(keeper):
    keeper.post("pairings/", pairing())
    assert Api().combination("ashwater")["state"] == "no-reports"
    assert not PooledTarget.objects.exists()


def test_clutch__joins_the_declaration(keeper):
    declared = keeper.post(
        "pairings/", pairing(parent("66% het ashwater", "m-1"), parent("ashwater", "f-1"))
    )
    body = clutch(None, None, {"normal": 3, "ashwater": 1}, pairing=declared["id"])
    answer = keeper.post("clutches/", body)
    assert (answer["declared"], answer["pairing"]) == (True, declared["id"])
    assert answer["sire"] == {"genes": "66% het Ashwater", "animal": "m-1", "unproven": []}
    assert answer["dam"] == {"genes": "Ashwater", "animal": "f-1", "unproven": []}
    plain = keeper.post("clutches/", clutch(dam="ashwater"))
    assert [one["id"] for one in keeper.get("clutches/", declared="true")["results"]] == [
        answer["id"]
    ]
    assert [one["id"] for one in keeper.get("clutches/", declared="false")["results"]] == [
        plain["id"]
    ]
    assert [one["id"] for one in keeper.get("clutches/", pairing=declared["id"])["results"]] == [
        answer["id"]
    ]
    Api().get("combinations/")
    row = PooledTarget.objects.get(combination="Ashwater")
    assert (row.n_clutches, row.n_declared) == (2, 1)


def test_clutch__of_a_declaration_shares_its_animals_with_others(keeper):
    declared = keeper.post("pairings/", pairing(parent("66% het ashwater", "m-1")))
    keeper.post("clutches/", clutch(None, None, {"normal": 5}, pairing=declared["id"]))
    keeper.post("clutches/", clutch(parent("66% het ashwater", "m-1"), hatchlings={"normal": 5}))
    none = Api().combination("ashwater")["tried"]["chance_of_none"]
    assert none == pytest.approx(1 / 3 + 2 / 3 * 0.75**10, rel=1e-12)
    assert Contribution.objects.count() == 1


def test_clutch__is_read_under_the_version_of_its_declaration(keeper, version):
    declared = keeper.post("pairings/", pairing())
    gecko_changed()
    body = clutch(None, None, {"normal": 5}, pairing=declared["id"])
    assert keeper.post("clutches/", body)["catalogue"] == version


def test_list__is_the_keepers_own_and_filtered(keeper):
    catalogue_load(FIXTURES / "catalogue" / "corn-snake.json")
    with time_machine.travel("2025-02-03T00:00:00Z"):
        old = keeper.post("pairings/", pairing(season=2024))["id"]
    new = keeper.post("pairings/", pairing())["id"]
    joined().post("pairings/", pairing())
    for query, expected in (
        ({}, [new, old]),
        ({"ordering": "season"}, [old, new]),
        ({"season": 2024}, [old]),
        ({"species": GECKO}, [new, old]),
        ({"species": "corn-snake"}, []),
    ):
        assert [one["id"] for one in keeper.get("pairings/", **query)["results"]] == expected


def test_season__may_be_the_next_one():
    with time_machine.travel("2025-11-01T00:00:00Z"):
        keeper = joined()
        assert keeper.post("pairings/", pairing(season=2026))["season"] == 2026
        problem = keeper.refused("post", "pairings/", pairing(season=2027))
    assert told(problem) == {("#/season", "season-out-of-range")}
    assert problem["detail"] == (
        "season: The season is 2027; a season is a year from 1990 to 2026."
    )


@pytest.mark.parametrize(
    ("body", "faults"),
    [
        (pairing(species="gecko"), {("#/species", "unknown-species")}),
        (
            pairing("het quilback", "super ashwater"),
            {("#/sire/genes", "unknown-gene"), ("#/dam/genes", "super-of-recessive")},
        ),
        (
            pairing(parent("reed", "x"), parent("reed", "x")),
            {("#/dam/animal", "contradictory-statement")},
        ),
        (pairing(dam=None), {("#/dam", "invalid-body")}),
        (pairing(clutch_size=3), {("#/clutch_size", "unknown-field")}),
        (pairing(parent("reed", "x" * 61)), {("#/sire/animal", "invalid-body")}),
        (pairing(parent("reed", "  ")), {("#/sire/animal", "invalid-body")}),
    ],
)
def test_declare__refuses(keeper, body, faults):
    before = stored()
    assert told(keeper.refused("post", "pairings/", body)) == faults
    assert stored() == before


def test_declare__refuses_a_label_of_the_other_sex(keeper):
    keeper.post("clutches/", clutch(dam=parent("het ashwater", "x-1")))
    before = stored()
    problem = keeper.refused("post", "pairings/", pairing(parent("reed", "x-1")))
    assert told(problem) == {("#/sire/animal", "contradictory-statement")}
    assert problem["known_sex"] == "female"
    assert stored() == before


def test_label__of_another_keeper_or_species_is_another_animal(keeper):
    keeper.post("pairings/", pairing(parent("reed", "x-1")))
    joined().post("pairings/", pairing(dam=parent("reed", "x-1")))
    assert stored()["pairings.Animal"] == 2
