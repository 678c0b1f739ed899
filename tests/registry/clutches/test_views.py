"""Clutches over HTTP: report, read, list, withdraw."""

from __future__ import annotations

import json
import uuid

import pytest
import time_machine

from registry.catalogue.services import catalogue_load
from tests.factories.registry import (
    ANY_STATE,
    FIXTURES,
    GECKO,
    Api,
    clutch,
    gecko,
    gecko_changed,
    group,
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


FULL = clutch(
    parent("reed het ashwater", "m-07", unproven=["pale reed"]),
    parent("het pale reed het ashwater"),
    [
        group("pale reed", 4, sex="female"),
        group("normal", 5),
        group("pale reed ashwater", 1, "reed", basis="first shed"),
        group("tidemark", 1),
    ],
    eggs={"laid": 14, "infertile": 1, "died": 2},
    clutch_code="shelf 3",
)


def test_report__answers_with_every_reading(keeper, version):
    answer = keeper.post("clutches/", FULL, status=201)
    assert uuid.UUID(answer.pop("id"))
    assert answer.pop("reported_at").endswith("Z")
    plain = {
        "sex": "unknown",
        "basis": None,
        "contradicts_parents": False,
        "reason": None,
        "or": [],
    }
    assert answer == {
        "species": GECKO,
        "season": 2025,
        "sire": {"genes": "Pale Reed het Ashwater", "animal": "m-07", "unproven": ["Pale Reed"]},
        "dam": {"genes": "het Ashwater het Pale Reed", "animal": None, "unproven": []},
        "eggs": {"laid": 14, "infertile": 1, "died": 2},
        "hatchlings": [
            plain | {"call": "pale reed", "count": 4, "sex": "female", "reading": "Pale Reed"},
            plain | {"call": "normal", "count": 5, "reading": "Normal"},
            plain
            | {
                "call": "pale reed ashwater",
                "count": 1,
                "basis": "first shed",
                "reading": "Ashwater Pale Reed",
                "or": [{"reading": "Pale Reed", "reason": None}],
            },
            plain
            | {
                "call": "tidemark",
                "count": 1,
                "reading": "Tidemark",
                "contradicts_parents": True,
                "reason": "Tidemark can not come from these parents, which give a normal look "
                "there.",
            },
        ],
        "pairing": None,
        "declared": False,
        "clutch_code": "shelf 3",
        "catalogue": version,
        "revision": 1,
        "held": None,
    }


def test_report__is_read_back_as_it_was_answered(keeper):
    answer = keeper.post("clutches/", FULL)
    assert keeper.get(f"clutches/{answer['id']}/") == answer
    assert keeper.get("clutches/")["results"] == [answer]


def test_report__with_a_pairing_is_read_back_as_it_was_answered(keeper):
    declared = keeper.post(
        "pairings/",
        {"species": GECKO, "season": 2025, "sire": parent("reed", "m-1"), "dam": parent("reed")},
    )
    body = clutch(None, None, {"reed": 4}, pairing=declared["id"])
    answer = keeper.post("clutches/", body)
    assert answer["sire"] == {"genes": "Pale Reed", "animal": "m-1", "unproven": []}
    assert answer["declared"] is True
    assert keeper.get(f"clutches/{answer['id']}/") == answer


def test_report__of_eggs_alone_is_welcome(keeper):
    answer = keeper.post("clutches/", clutch(hatchlings=[], eggs={"laid": 6, "died": 6}))
    assert answer["eggs"] == {"laid": 6, "infertile": None, "died": 6}
    assert keeper.get(f"clutches/{answer['id']}/")["hatchlings"] == []
    assert Api().combination("ashwater")["state"] == "no-reports"


def test_report__counts_in_the_pools_at_once(keeper):
    keeper.post("clutches/", clutch(hatchlings={"normal": 3, "ashwater": 2}))
    tried = Api().combination("ashwater")["tried"]
    assert (tried["clutches"], tried["hatchlings"], tried["expected"]) == (1, 5, 1.25)


def test_report__keeps_a_call_that_contradicts_the_parents_out_of_that_pool_only(keeper):
    sire, dam = "het ashwater tidemark", "het ashwater"
    keeper.post(
        "clutches/",
        clutch(sire, dam, [group("normal", 3), group("quillback", 2), group("super tidemark", 1)]),
    )
    # A Quillback can't come from them, but it tells of Ashwater and Tidemark all the same; what is
    # wrong at Tidemark tells nothing of Tidemark.
    ashwater, tidemark = Api().combination("ashwater"), Api().combination("tidemark")
    assert ashwater["tried"]["hatchlings"] == 6
    assert tidemark["tried"]["hatchlings"] == 5
    assert Api().combination("quillback")["state"] == "no-reports"


@pytest.mark.parametrize(
    ("sire", "dam", "entry", "reason"),
    [
        (
            "het ashwater",
            "het ashwater",
            group("super tidemark"),
            "Floodmark can not come from these parents, which give a normal look there.",
        ),
        (
            "ashwater",
            "ashwater",
            group("normal"),
            "Every hatchling of these parents shows Ashwater, and the call does not say so.",
        ),
        (
            "super brackish",
            "normal",
            group("saltgrass"),
            "Saltgrass can not come from these parents, which give Brackish there.",
        ),
        (
            "ashwater",
            "normal",
            group("het quillback"),
            "No hatchling of these parents can be het Quillback.",
        ),
    ],
)
def test_report__says_why_a_call_contradicts(keeper, sire, dam, entry, reason):
    (found,) = keeper.post("clutches/", clutch(sire, dam, [entry]))["hatchlings"]
    assert (found["contradicts_parents"], found["reason"]) == (True, reason)


def test_report__takes_the_possible_reading_of_an_uncertain_call(keeper):
    entry = group("quillback", 1, "ashwater")
    (found,) = keeper.post("clutches/", clutch(hatchlings=[entry]))["hatchlings"]
    assert found["contradicts_parents"] is False
    assert found["reason"].startswith("Quillback can not come from these parents")
    assert found["or"] == [{"reading": "Ashwater", "reason": None}]
    produced = Api().combination("ashwater")["produced"]
    assert (produced["answer"], produced["hatchlings"]) == ("yes", 1)


def test_list__is_the_keepers_own_newest_first_and_filtered(keeper):
    catalogue_load(FIXTURES / "catalogue" / "corn-snake.json")
    with time_machine.travel("2026-03-01T00:00:00Z", tick=True):
        old = keeper.post("clutches/", clutch(season=2024, clutch_code="a"))["id"]
        new = keeper.post("clutches/", clutch(season=2025))["id"]
    joined().post("clutches/", clutch())
    assert [one["id"] for one in keeper.get("clutches/")["results"]] == [new, old]
    assert [one["id"] for one in keeper.get("clutches/", ordering="season")["results"]] == [
        old,
        new,
    ]
    for query, expected in (
        ({"season": 2024}, [old]),
        ({"clutch_code": "a"}, [old]),
        ({"species": GECKO}, [new, old]),
        ({"species": "corn-snake"}, []),
        ({"declared": "true"}, []),
    ):
        assert [one["id"] for one in keeper.get("clutches/", **query)["results"]] == expected
    assert [[one["id"] for one in page] for page in keeper.pages("clutches/", page_size=1)] == [
        [new],
        [old],
    ]


@pytest.mark.parametrize(
    ("name", "text", "expected"),
    [
        ("declared", "maybe", "true or false"),
        ("declared", "1", "true or false"),
        ("season", "2025.5", "a whole number"),
        ("season", "", "a value; leave the parameter out for none"),
        ("species", "", "a value; leave the parameter out for none"),
        ("pairing", "zzz", "an id such as 01234567-89ab-4def-8123-456789abcdef"),
    ],
)
def test_list__refuses_a_filter_that_would_be_ignored(keeper, name, text, expected):
    keeper.post("clutches/", clutch())
    problem = keeper.refused("get", "clutches/", query={name: text})
    assert told(problem) == {(name, "invalid-parameter")}
    assert problem["detail"] == f"parameter {name}: Read {text!r}, expected {expected}."


@pytest.mark.parametrize("path", ["clutches/", "pairings/", "combinations/", "flags/"])
def test_list__refuses_an_unknown_species_with_the_nearest(keeper, path):
    for text, near in ((GECKO[:-1], [GECKO]), ("foo", [])):
        problem = keeper.refused("get", path, query={"species": text})
        assert told(problem) == {("species", "unknown-species")}
        assert problem["suggestions"] == near
        hint = f" Did you mean {GECKO}?" if near else ""
        assert problem["detail"] == (
            f"parameter species: The catalogue has no species {text!r}.{hint}"
        )


def test_withdraw__takes_the_clutch_out_of_everything(keeper):
    before = stored()
    other = keeper.post("clutches/", clutch(hatchlings={"normal": 7, "ashwater": 2}))
    gone = keeper.post("clutches/", clutch(parent("het ashwater", "m-1")))["id"]
    keeper.delete(f"clutches/{gone}/")
    assert keeper.refused("get", f"clutches/{gone}/")["code"] == "not-found"
    for method in ("get", "delete"):
        assert keeper.refused(method, f"clutches/{gone}/", headers=ANY_STATE)["detail"] == (
            f"You have no clutch {gone}: it was never reported by you, or was withdrawn."
        )
    tried = Api().combination("ashwater")["tried"]
    assert (tried["clutches"], tried["hatchlings"]) == (1, 9)
    keeper.delete(f"clutches/{other['id']}/")
    # The animal stays the keeper's, and the targets stay known; nothing else is left.
    after = stored()
    kept = {"pairings.Animal", "pools.PooledTarget", "keepers.Keeper"}
    assert {name for name in after if after[name] != before[name]} <= kept
    assert Api().combination("ashwater")["state"] == "no-reports"
    assert Api().get("combinations/")["results"] == []


def test_clutch_of_another_keeper__is_not_found(keeper):
    theirs, nobodys = joined().post("clutches/", clutch())["id"], str(uuid.uuid4())
    for method in ("get", "delete"):
        told_of = [
            keeper.refused(method, f"clutches/{one}/", headers=ANY_STATE)
            for one in (theirs, nobodys)
        ]
        for one, problem in zip((theirs, nobodys), told_of, strict=True):
            assert problem["detail"] == (
                f"You have no clutch {one}: it was never reported by you, or was withdrawn."
            )
        # Nothing but the id asked for tells somebody else's from one that never was.
        first, second = (json.dumps(one) for one in told_of)
        assert first.replace(theirs, nobodys) == second
        assert told_of[0]["status"] == 404
    assert keeper.get("clutches/")["results"] == []
    assert Api().combination("ashwater")["tried"]["clutches"] == 1


def test_clutch__keeps_the_version_it_was_reported_under(keeper, version):
    first = keeper.post("clutches/", clutch())
    newer = gecko_changed().label
    second = keeper.post("clutches/", clutch())
    assert (first["catalogue"], second["catalogue"]) == (version, newer)
    assert keeper.get(f"clutches/{first['id']}/") == first
    answer = Api().combination("ashwater")
    assert answer["method"]["catalogue"] == newer
    assert (answer["tried"]["clutches"], answer["tried"]["hatchlings"]) == (2, 12)


def test_clutch__is_still_read_after_its_gene_left_the_catalogue(keeper):
    first = keeper.post("clutches/", clutch("het quillback", "het quillback", {"quillback": 3}))

    def drop(content):
        content["loci"] = [one for one in content["loci"] if one["key"] != "ml-quillback"]
        content["nicknames"] = [
            one for one in content["nicknames"] if "Quillback" not in one["genes"]
        ]

    gecko_changed(drop)
    assert keeper.get(f"clutches/{first['id']}/") == first
    assert keeper.refused("post", "clutches/", clutch("het quillback"))["code"] == "unknown-gene"
    assert Api().refused("get", f"combinations/{GECKO}/quillback/")["code"] == "unknown-gene"
    assert [one["combination"] for one in Api().get("combinations/")["results"]] == ["Quillback"]
    keeper.delete(f"clutches/{first['id']}/")


def test_clutch__of_one_animal_under_two_versions_adds_up(keeper):
    body = clutch(parent("het ashwater", "m-1"), parent("het ashwater", "f-1"))
    first = keeper.post("clutches/", body)
    gecko_changed()
    keeper.post("clutches/", body)
    assert Api().combination("ashwater")["tried"]["hatchlings"] == 12
    keeper.delete(f"clutches/{first['id']}/")
    assert Api().combination("ashwater")["tried"]["hatchlings"] == 6


def test_parents__are_needed_without_a_pairing(keeper):
    body = clutch()
    del body["sire"]
    problem = keeper.refused("post", "clutches/", body)
    assert told(problem) == {("#/sire", "invalid-body")}
    assert problem["detail"] == "sire: The field is missing."
