"""Keepers over HTTP: join, own record; what the database keeps of a secret."""

from __future__ import annotations

import hashlib

import pytest
import time_machine
from django.core import serializers

from registry.keepers.models import Keeper, KeeperToken
from tests.factories.registry import GECKO, Api, clutch, gecko, joined, parent, stored, told

pytestmark = pytest.mark.django_db


def test_join__gives_a_keeper_and_two_secrets_that_are_never_the_same():
    response = Api().send("post", "keepers/", {})
    new = response.json()
    assert response.status_code == 201
    assert response.headers["Cache-Control"] == "no-store"
    assert set(new) == {"keeper", "token", "recovery_code"}
    other = Api().post("keepers/", {})
    assert len({*new.values(), *other.values()}) == 6
    # 32 random bytes are 43 characters of base64.
    assert [len(new[name]) for name in ("token", "recovery_code")] == [47, 47]


def test_join__needs_no_body():
    assert Api().send("post", "keepers/").status_code == 201


def test_join__asks_nothing_of_a_person():
    before = stored()
    problem = Api().refused("post", "keepers/", {"name": "Somebody", "email": "a@example.org"})
    assert told(problem) == {("#/name", "unknown-field"), ("#/email", "unknown-field")}
    assert stored() == before


def test_secrets__are_kept_as_digests_only():
    new = Api().post("keepers/", {})
    rows = serializers.serialize("json", [*Keeper.objects.all(), *KeeperToken.objects.all()])
    assert new["token"] not in rows
    assert new["recovery_code"] not in rows
    assert KeeperToken.objects.get().sha256 == hashlib.sha256(new["token"].encode()).hexdigest()
    assert Keeper.objects.get().recovery_sha256 == (
        hashlib.sha256(new["recovery_code"].encode()).hexdigest()
    )


def test_own_record__counts_what_is_the_keepers():
    gecko()
    with time_machine.travel("2026-05-31T23:30:00Z"):
        keeper = joined()
    keeper.post("clutches/", clutch())
    gone = keeper.post("clutches/", clutch())["id"]
    keeper.delete(f"clutches/{gone}/")
    joined().post("clutches/", clutch())
    keeper.post(
        "pairings/",
        {"species": GECKO, "season": 2025, "sire": parent("reed"), "dam": parent("reed")},
    )
    assert keeper.get("keepers/me/") == {
        "keeper": keeper.keeper,
        "joined_on": "2026-05-31",
        "held": None,
        "clutches": 1,
        "pairings": 1,
        "animals": 0,
        "tokens": 1,
    }


@pytest.mark.parametrize(
    ("method", "path"),
    [("get", "keepers/me/"), ("get", "clutches/"), ("get", "pairings/"), ("post", "pairings/")],
)
def test_own_calls__need_a_known_token(method, path):
    nobody = Api().refused(method, path)
    assert (nobody["status"], nobody["code"]) == (401, "not-authenticated")
    wrong = Api("bck_" + "a" * 43).refused(method, path)
    assert (wrong["status"], wrong["code"]) == (401, "unknown-token")
    assert wrong["detail"] == "The token belongs to no keeper."
    headers = Api().send(method, path).headers
    assert headers["WWW-Authenticate"] == "Bearer"


def test_token__works_in_any_case_of_the_scheme():
    keeper = joined()
    response = Api().send("get", "keepers/me/", headers={"Authorization": f"bearer {keeper.token}"})
    assert response.status_code == 200
