"""Calls that change: states are added, the pools follow the newest, everything reads back."""

from __future__ import annotations

from typing import Any

import pytest

from registry.clutches.bridge.revisions import Change, changes_between
from registry.clutches.models import Clutch, HatchlingGroup, Revision
from registry.clutches.services.rebuilding import pools_differences
from registry.pools.models import CallChange
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
    told,
)

pytestmark = pytest.mark.django_db


@pytest.fixture
def keeper() -> Api:
    gecko()
    return joined()


def revised(keeper: Api, clutch_id: str, **body: Any) -> dict[str, Any]:
    """A revision based on the clutch as it is now."""
    read = keeper.send("get", f"clutches/{clutch_id}/")
    response = keeper.send(
        "post",
        f"clutches/{clutch_id}/revisions/",
        body,
        headers={"If-Match": read.headers["ETag"]},
    )
    assert response.status_code == 201, response.content
    assert response.json() == keeper.get(f"clutches/{clutch_id}/")
    return response.json()  # type: ignore[no-any-return]


def states(keeper: Api, clutch_id: str) -> list[dict[str, Any]]:
    return keeper.get(f"clutches/{clutch_id}/revisions/")["results"]  # type: ignore[no-any-return]


def test_revision__moves_the_pools_and_keeps_what_was_said(keeper):
    body = clutch(hatchlings=[group("normal", 5, basis="at hatching"), group("ashwater", 1)])
    made = keeper.post("clutches/", body | {"eggs": {"laid": 8, "infertile": 1}})
    assert keeper.combination("ashwater")["produced"]["hatchlings"] == 1
    now = revised(
        keeper,
        made["id"],
        sheds=2,
        basis="two sheds later",
        hatchlings=[group("normal", 3), group("ashwater", 3, basis="after the second shed")],
    )
    assert [(one["reading"], one["count"]) for one in now["hatchlings"]] == [
        ("Normal", 3),
        ("Ashwater", 3),
    ]
    assert (now["revision"], now["eggs"]["laid"]) == (2, 8)
    assert keeper.combination("ashwater")["produced"]["hatchlings"] == 3
    first, second = states(keeper, made["id"])
    assert first["hatchlings"] == made["hatchlings"]
    assert (first["kind"], first["number"], first["by"]) == ("report", 1, "owner")
    assert second["hatchlings"] == now["hatchlings"]
    assert (second["kind"], second["sheds"]) == ("shed", 2)
    assert second["basis"] == "two sheds later"
    assert pools_differences() == []


def test_revision__of_eggs_alone_keeps_the_calls(keeper):
    made = keeper.post("clutches/", clutch(hatchlings=[group("ashwater", 2, "normal")]))
    now = revised(keeper, made["id"], eggs={"laid": 5, "died": 3})
    assert now["hatchlings"] == made["hatchlings"]
    assert now["eggs"] == {"laid": 5, "infertile": None, "died": 3}
    assert states(keeper, made["id"])[0]["eggs"]["died"] is None
    assert pools_differences() == []


def test_revision__with_fewer_and_with_more_entries(keeper):
    made = keeper.post("clutches/", clutch(hatchlings=[group("normal", 1) for _ in range(4)]))
    revised(keeper, made["id"], hatchlings=[group("normal", 4)])
    assert HatchlingGroup.objects.count() == 1
    revised(keeper, made["id"], hatchlings=[group("normal", 1) for _ in range(4)])
    assert HatchlingGroup.objects.count() == 4
    assert Revision.objects.count() == 3


@pytest.mark.parametrize(
    ("body", "fault"),
    [
        (
            {"hatchlings": [group("normal", 5)], "sheds": 1},
            ("#/hatchlings", "counts-do-not-add-up"),
        ),
        ({"hatchlings": [group("wildfire", 6)]}, ("#/hatchlings/0/call", "unknown-gene")),
        ({"eggs": {"laid": 3}}, ("#/eggs/laid", "counts-do-not-add-up")),
        ({}, ("#/hatchlings", "invalid-body")),
        ({"kind": "breeding", "eggs": {"died": 1}}, ("#/kind", "invalid-body")),
        (
            {"hatchlings": [group("normal", 6, was="wildfire")]},
            ("#/hatchlings/0/was", "unknown-gene"),
        ),
        (
            {"opinion": "00000000-0000-4000-8000-000000000000"},
            ("#/opinion", "contradictory-statement"),
        ),
    ],
)
def test_revision__that_is_refused_leaves_everything(keeper, body, fault):
    made = keeper.post("clutches/", clutch())
    path = f"clutches/{made['id']}/revisions/"
    problem = keeper.refused("post", path, body, headers=ANY_STATE)
    assert fault in told(problem)
    assert keeper.get(f"clutches/{made['id']}/") == made
    assert Revision.objects.count() == 1


def test_revision__of_a_wrong_count_is_a_correction(keeper):
    made = keeper.post("clutches/", clutch())
    now = revised(keeper, made["id"], kind="correction", hatchlings=[group("normal", 9)])
    assert sum(one["count"] for one in now["hatchlings"]) == 9
    assert keeper.combination("ashwater")["tried"]["hatchlings"] == 9


def test_revision__on_an_outdated_state_is_refused(keeper):
    made = keeper.post("clutches/", clutch())
    old = keeper.send("get", f"clutches/{made['id']}/").headers["ETag"]
    revised(keeper, made["id"], eggs={"died": 1})
    path = f"clutches/{made['id']}/revisions/"
    problem = keeper.refused("post", path, {"eggs": {"died": 2}}, headers={"If-Match": old})
    assert problem["status"] == 412
    assert keeper.refused("post", path, {"eggs": {"died": 2}})["status"] == 428
    assert Clutch.objects.get().eggs_died == 1


def test_revision__is_read_under_the_version_of_its_report(keeper):
    made = keeper.post("clutches/", clutch())
    gecko_changed()
    now = revised(keeper, made["id"], hatchlings=[group("ashwater", 6)])
    assert now["catalogue"] == made["catalogue"]
    assert pools_differences() == []


def test_revision__of_somebody_else_is_not_there(keeper):
    made = keeper.post("clutches/", clutch())
    other = joined()
    path = f"clutches/{made['id']}/revisions/"
    assert other.refused("get", path)["status"] == 404
    refused = other.refused("post", path, {"eggs": {"died": 1}}, headers=ANY_STATE)
    assert refused["status"] == 404


# --- what calls became --------------------------------------------------------------------------


def entry(text: str, count: int, *others: str) -> dict[str, Any]:
    return {"readings": [{"text": one} for one in (text, *others)], "count": count}


@pytest.mark.parametrize(
    ("former", "newer", "was", "expected"),
    [
        ([entry("A", 3)], [entry("A", 2), entry("B", 1)], {}, {("A", "A"): 2, ("A", "B"): 1}),
        ([entry("A", 3), entry("B", 1)], [entry("C", 4)], {}, {("A", "C"): 3, ("B", "C"): 1}),
        # Two calls lost some and two won some: who became what can not be told.
        (
            [entry("A", 2), entry("B", 2)],
            [entry("A", 1), entry("B", 1), entry("C", 1), entry("D", 1)],
            {},
            {("A", "A"): 1, ("B", "B"): 1},
        ),
        # ... unless the keeper says so.
        (
            [entry("A", 2), entry("B", 2)],
            [entry("A", 1), entry("B", 1), entry("C", 1), entry("D", 1)],
            {2: "A", 3: "B"},
            {("A", "A"): 1, ("A", "C"): 1, ("B", "B"): 1, ("B", "D"): 1},
        ),
        # An uncertain call is no call that was wrong.
        ([entry("A", 2, "B")], [entry("B", 2)], {}, {}),
        ([entry("A", 2)], [entry("A", 2)], {}, {("A", "A"): 2}),
        # What the keeper says can not be more than there were.
        ([entry("A", 1)], [entry("B", 2)], {0: "A"}, {}),
    ],
)
def test_changes_between__tells_what_can_be_told(former, newer, was, expected):
    found = changes_between(former, newer, was)
    assert found == [Change(*way, count) for way, count in sorted(expected.items())]


def miscalled(n_keepers: int, sheds: int = 2) -> None:
    """Each keeper first calls two of six hatchlings Copperlatch which are Pale Reed Copperlatch."""
    for _ in range(n_keepers):
        keeper = joined()
        made = keeper.post(
            "clutches/",
            clutch("copperlatch het reed", "reed", {"copperlatch": 4, "pale reed": 2}),
        )
        revised(
            keeper,
            made["id"],
            sheds=sheds,
            hatchlings=[
                group("copperlatch", 2),
                group("pale reed copperlatch", 2),
                group("pale reed", 2),
            ],
        )


def test_look_alikes__are_told_from_three_keepers_on(keeper):
    path = f"species/{GECKO}/look-alikes/"
    miscalled(2)
    assert Api().get(path)["results"] == []
    miscalled(1)
    (row,) = Api().get(path)["results"]
    assert (row["called"], row["became"]) == ("Copperlatch", "Pale Reed Copperlatch")
    assert (row["hatchlings"], row["looked_again"], row["keepers"]) == (6, 12, 3)
    assert row["share"] == 0.5
    assert row["by_sheds"] == [{"sheds": 2, "hatchlings": 6}]
    assert Api().refused("get", "species/nobody/look-alikes/")["status"] == 404


def test_look_alikes__hide_sheds_of_few(keeper):
    miscalled(2, sheds=1)
    miscalled(1, sheds=3)
    (row,) = Api().get(f"species/{GECKO}/look-alikes/")["results"]
    assert row["by_sheds"] == []
    assert row["keepers"] == 3


def test_look_alikes__leave_no_rest_of_few(keeper):
    """What remains of the total when the sheds are taken from it is nobody's alone."""
    path = f"species/{GECKO}/look-alikes/"
    miscalled(3, sheds=2)
    miscalled(4, sheds=1)
    miscalled(1, sheds=5)
    (row,) = Api().get(path)["results"]
    assert row["hatchlings"] == 16
    assert row["by_sheds"] == [{"sheds": 1, "hatchlings": 8}]
    miscalled(2, sheds=5)  # three now
    (row,) = Api().get(path)["results"]
    assert row["by_sheds"] == [
        {"sheds": sheds, "hatchlings": n} for sheds, n in ((1, 8), (2, 6), (5, 6))
    ]


def test_look_alikes__shift_the_prior_of_the_explanation_and_its_cell(keeper):
    pair = "pale reed copperlatch"
    for n in range(3):
        joined().post(
            "clutches/",
            clutch(
                parent("copperlatch het reed", f"m-{n}"),
                "reed",
                {"copperlatch": 4, "pale reed": 2, "normal": 2},
            ),
        )
    before = keeper.combination(pair)
    miscalled(3)
    known = CallChange.objects.exclude(called="Pale Reed").values_list("called", "became")
    assert ("Copperlatch", "Pale Reed Copperlatch") in set(known)
    after = keeper.combination(pair)
    priors = before["method"]["priors"], after["method"]["priors"]
    # 0.10 + 0.40 * 6 / (6 + 5), as genetics.evidence.explanations states it.
    assert priors[0]["look-alike"] == 0.10
    assert priors[1]["look-alike"] == pytest.approx(0.10 + 0.40 * 6 / 11)
    assert priors[0] | {"look-alike": 0} == priors[1] | {"look-alike": 0}
