"""Fewer than three keepers stay unnumbered, and nothing of a keeper is in a public answer."""

from __future__ import annotations

import json
from typing import Any

import pytest
from django.apps import apps
from django.core import serializers

from registry.clutches.models import Clutch
from registry.keepers.models import Keeper, KeeperToken
from registry.pairings.models import Animal
from registry.pools.models import Contribution
from tests.factories.registry import (
    ANY_STATE,
    GECKO,
    Api,
    clutch,
    gecko,
    group,
    joined,
    openapi,
    parent,
)

pytestmark = pytest.mark.django_db

PUBLIC = (
    "species/",
    f"species/{GECKO}/",
    f"species/{GECKO}/genes/",
    f"combinations/{GECKO}/ashwater/",
    f"combinations/{GECKO}/ashwater reed/",
    f"combinations/{GECKO}/ashwater/history/",
    "combinations/",
    "flags/",
)


@pytest.fixture(autouse=True)
def _species():
    gecko()


@pytest.mark.parametrize(("n_keepers", "shown"), [(0, 0), (1, None), (2, None), (3, 3), (4, 4)])
def test_keepers__are_numbered_from_three_on(n_keepers, shown):
    for n in range(n_keepers):
        keeper = joined()
        for _ in range(2):
            keeper.post(
                "clutches/", clutch(hatchlings={"normal": 9, "ashwater": 2}, season=2020 + n)
            )
    answer = Api().combination("ashwater")
    rows = Api().get("combinations/")["results"]
    for one in (answer, *rows):
        assert one["tried"]["keepers"] == shown
        assert one["produced"]["keepers"] == shown
        assert one["produced"]["first_season"] == (2020 if n_keepers >= 3 else None)
    assert answer["tried"]["clutches"] == 2 * n_keepers


def test_season__is_hidden_while_fewer_than_three_produced_it():
    """Four keepers tried, two of them with success: their season would name two keepers' years."""
    for n in range(4):
        counts = {"normal": 5} | ({"ashwater": 1} if n < 2 else {})
        joined().post("clutches/", clutch(hatchlings=counts, season=2018 + n))
    answer = Api().combination("ashwater")
    assert answer["tried"]["keepers"] == 4
    assert (answer["produced"]["keepers"], answer["produced"]["first_season"]) == (None, None)
    assert answer["produced"]["answer"] == "yes"


def short() -> dict[str, Any]:
    """Far fewer than expected, with one that proves the parents."""
    return clutch(hatchlings={"normal": 30, "ashwater": 1})


def test_answers__of_one_and_of_two_keepers_are_alike():
    """The same two clutches of one keeper, or of two."""
    told = []
    for together in (True, False):
        first = joined()
        second = first if together else joined()
        ids = [one.post("clutches/", short())["id"] for one in (first, second)]
        (flag,) = Api().get("flags/")["results"]
        answer = Api().combination("ashwater")
        history = Api().get(f"combinations/{GECKO}/ashwater/history/")
        assert flag["tried"]["keepers"] is None
        assert answer["evidence"]["e_value"] > 20
        assert (history["hidden"], history["points"]) == (True, [])
        told.append((flag, answer, history))
        for one, clutch_id in zip((first, second), ids, strict=True):
            one.delete(f"clutches/{clutch_id}/")
    assert told[0] == told[1]


def test_flags__number_no_keepers_below_three():
    for n in range(3):
        joined().post("clutches/", short())
        (flag,) = Api().get("flags/")["results"]
        answer = Api().combination("ashwater")
        assert flag["tried"]["keepers"] == answer["tried"]["keepers"] == (3 if n == 2 else None)
        # What a flag needs may be said; how many there are may not.
        needs = "A flag needs 3 keepers." in flag["reason"]
        assert needs is (n < 2)
        assert flag["reason"].count("keeper") == (n < 2)
        without = answer["evidence"]["without_top_keeper"]
        assert (without is None) is (n < 2)


def leaves(value: Any) -> list[str]:
    """Every text in an answer."""
    if isinstance(value, dict):
        return [one for item in value.items() for part in item for one in leaves(part)]
    if isinstance(value, list):
        return [one for item in value for one in leaves(item)]
    return [str(value)]


def test_public_answers__have_nothing_of_a_keeper():
    for n in range(3):
        keeper = joined()
        declared = keeper.post(
            "pairings/",
            {
                "species": GECKO,
                "season": 2025,
                "sire": parent("het ashwater", f"secret-sire-{n}"),
                "dam": parent("het ashwater", f"secret-dam-{n}"),
            },
        )
        body = clutch(
            None,
            None,
            [group("normal", 12, basis="secret-basis"), group("ashwater", 1)],
            pairing=declared["id"],
            clutch_code="secret-code",
        )
        keeper.post("clutches/", body)
        keeper.post("clutches/", clutch(parent("het reed", f"secret-{n}"), "het reed"))
    ids = {
        str(one)
        for model, field in (
            (Keeper, "pk"),
            (Animal, "pk"),
            (Clutch, "pk"),
            (Clutch, "family"),
            (Contribution, "family"),
            (KeeperToken, "sha256"),
            (Keeper, "recovery_sha256"),
        )
        for one in model.objects.values_list(field, flat=True)
    }
    assert len(ids) > 20
    for path in PUBLIC:
        text = json.dumps(Api().get(path))
        assert "secret" not in text
        assert not [one for one in ids if one in text]
        assert "bck_" not in text
        assert not {"keeper", "animal", "clutch_code", "sire", "dam"} & set(leaves(Api().get(path)))


def test_public_answers__are_the_same_with_and_without_a_token():
    keeper = joined()
    keeper.post("clutches/", clutch())
    for path in PUBLIC:
        assert keeper.get(path) == Api().get(path) == joined().get(path)


def test_own_records__are_the_keepers_alone():
    keeper, other = joined(), joined()
    own = keeper.post("clutches/", clutch(parent("het ashwater", "m-1")))
    declared = keeper.post(
        "pairings/",
        {"species": GECKO, "season": 2025, "sire": parent("reed"), "dam": parent("reed")},
    )
    assert other.get("clutches/")["results"] == other.get("pairings/")["results"] == []
    assert other.refused("get", f"clutches/{own['id']}/")["status"] == 404
    assert other.refused("delete", f"clutches/{own['id']}/", headers=ANY_STATE)["status"] == 404
    assert Api().refused("get", f"clutches/{own['id']}/")["status"] == 401
    # Whether a pairing of somebody else exists can't be told either.
    for pairing in (declared["id"], own["id"]):
        assert other.get("clutches/", pairing=pairing)["results"] == []


def test_tokens__are_in_no_table():
    keeper = joined()
    keeper.post("clutches/", clutch(parent("het ashwater", "m-1")))
    for model in apps.get_models():
        rows = serializers.serialize("json", model._default_manager.all())
        assert (keeper.token or "-") not in rows


def test_answers_about_keepers__are_documented_as_needing_a_token():
    open_calls = {
        f"{method} {path}"
        for path, item in openapi()["paths"].items()
        for method, operation in item.items()
        if method in {"get", "post", "delete", "put"} and not any(operation.get("security", [{}]))
    }
    closed = {
        f"{method} {path}"
        for path, item in openapi()["paths"].items()
        for method, operation in item.items()
        if method in {"get", "post", "delete", "put", "patch"}
    } - open_calls
    assert closed == {
        "get /api/v1/keepers/me/",
        "delete /api/v1/keepers/me/",
        "get /api/v1/keepers/me/export/",
        "get /api/v1/keepers/me/tokens/",
        "post /api/v1/keepers/me/tokens/",
        "get /api/v1/keepers/me/tokens/{token_id}/",
        "delete /api/v1/keepers/me/tokens/{token_id}/",
        "post /api/v1/keepers/me/recovery-code/",
        "get /api/v1/pairings/",
        "post /api/v1/pairings/",
        "get /api/v1/clutches/",
        "post /api/v1/clutches/",
        "post /api/v1/clutches/bulk/",
        "get /api/v1/clutches/{clutch_id}/",
        "delete /api/v1/clutches/{clutch_id}/",
        "get /api/v1/clutches/{clutch_id}/revisions/",
        "post /api/v1/clutches/{clutch_id}/revisions/",
        "get /api/v1/clutches/{clutch_id}/opinions/",
        "post /api/v1/second-opinions/",
        "get /api/v1/animals/",
        "get /api/v1/animals/{animal_id}/",
        "post /api/v1/animals/{animal_id}/statuses/",
        "get /api/v1/duplicates/",
        "get /api/v1/duplicates/{duplicate_id}/",
        "put /api/v1/duplicates/{duplicate_id}/",
    }
