"""Second opinions: given by code, told without names, taken over or not."""

from __future__ import annotations

import json
from typing import Any

import pytest

from registry.clutches.models import Opinion
from registry.clutches.services import opinions
from registry.clutches.services.rebuilding import pools_differences
from tests.factories.registry import ANY_STATE, GECKO, Api, clutch, gecko, group, joined, told

pytestmark = pytest.mark.django_db

CODE = "code of a clutch"


@pytest.fixture
def owner() -> Api:
    gecko()
    return joined()


def reported(owner: Api) -> str:
    made = owner.post(
        "clutches/", clutch(hatchlings={"normal": 5, "ashwater": 1}, clutch_code=CODE)
    )
    return str(made["id"])


def opinion(**change: Any) -> dict[str, Any]:
    return {
        "species": GECKO,
        "season": 2025,
        "clutch_code": CODE,
        "hatchlings": [group("normal", 3), group("ashwater", 3)],
        "basis": "photographs",
        "sheds": 1,
    } | change


def test_opinion__changes_nothing_until_it_is_taken_over(owner):
    clutch_id, other = reported(owner), joined()
    given = other.post("second-opinions/", opinion(), status=201)
    assert set(given) == {"id", "given_on"}
    assert owner.combination("ashwater")["produced"]["hatchlings"] == 1
    (seen,) = owner.get(f"clutches/{clutch_id}/opinions/")["results"]
    assert [(one["call"], one["count"]) for one in seen["hatchlings"]] == [
        ("Normal", 3),
        ("Ashwater", 3),
    ]
    assert (seen["basis"], seen["sheds"], seen["taken_over_as"]) == ("photographs", 1, None)
    # Neither learns who the other is.
    assert other.keeper
    assert owner.keeper
    assert other.keeper not in json.dumps(seen)
    assert owner.keeper not in json.dumps(given)
    taken = owner.send(
        "post", f"clutches/{clutch_id}/revisions/", {"opinion": seen["id"]}, headers=ANY_STATE
    )
    assert taken.status_code == 201
    assert owner.combination("ashwater")["produced"]["hatchlings"] == 3
    newest = owner.get(f"clutches/{clutch_id}/revisions/")["results"][-1]
    assert (newest["kind"], newest["by"], newest["basis"], newest["sheds"]) == (
        "second-opinion",
        "another keeper",
        "photographs",
        1,
    )
    (seen,) = owner.get(f"clutches/{clutch_id}/opinions/")["results"]
    assert seen["taken_over_as"] == 2
    again = owner.refused(
        "post", f"clutches/{clutch_id}/revisions/", {"opinion": seen["id"]}, headers=ANY_STATE
    )
    assert "as revision 2" in again["detail"]
    assert pools_differences() == []


@pytest.mark.parametrize(
    ("change", "fault"),
    [
        ({"clutch_code": "another"}, ("#/clutch_code", "contradictory-statement")),
        ({"season": 2024}, ("#/clutch_code", "contradictory-statement")),
        ({"hatchlings": [group("normal", 5)]}, ("#/hatchlings", "counts-do-not-add-up")),
        ({"hatchlings": [group("wildfire", 6)]}, ("#/hatchlings/0/call", "unknown-gene")),
    ],
)
def test_opinion__that_fits_no_clutch_is_refused(owner, change, fault):
    reported(owner)
    problem = joined().refused("post", "second-opinions/", opinion(**change))
    assert fault in told(problem)
    assert not Opinion.objects.exists()


def test_opinion__on_ones_own_clutch_is_a_revision(owner):
    reported(owner)
    problem = owner.refused("post", "second-opinions/", opinion())
    assert "This is your own clutch" in problem["detail"]


def test_opinion__tells_its_giver_nothing_of_the_clutch(owner):
    """The number of hatchlings stays with the owner, whatever is guessed."""
    reported(owner)
    answers = {
        joined()
        .refused("post", "second-opinions/", opinion(hatchlings=[group("normal", n)]))["detail"]
        .replace(str(n), "N")
        for n in (1, 5, 7)
    }
    assert len(answers) == 1
    assert "6" not in answers.pop()


def test_opinions__that_wait_are_bounded(owner, monkeypatch):
    monkeypatch.setattr(opinions, "MAX_OPINIONS", 2)
    reported(owner)
    for _ in range(2):
        joined().post("second-opinions/", opinion())
    problem = joined().refused("post", "second-opinions/", opinion())
    assert problem["status"] == 409


def test_opinion__of_somebody_who_left_is_gone_unless_taken_over(owner):
    clutch_id, other = reported(owner), joined()
    other.post("second-opinions/", opinion())
    other.post("second-opinions/", opinion(basis="a second look"))
    first = owner.get(f"clutches/{clutch_id}/opinions/")["results"][0]
    owner.send(
        "post", f"clutches/{clutch_id}/revisions/", {"opinion": first["id"]}, headers=ANY_STATE
    )
    assert other.send("delete", "keepers/me/", headers=ANY_STATE).status_code == 200
    assert owner.get(f"clutches/{clutch_id}/opinions/")["results"] == []
    assert owner.get(f"clutches/{clutch_id}/")["revision"] == 2
