"""Several tokens a keeper: labels, days of use, expiry, revocation, recovery; over HTTP."""

from __future__ import annotations

import datetime as dt
import hashlib
import threading
from typing import Any

import pytest
import time_machine
from django.db import connection, connections
from django.db.migrations.executor import MigrationExecutor
from django.test.utils import CaptureQueriesContext

from registry.keepers.authentication import TokenAuthentication
from registry.keepers.digests import keeper_digest, same_digest
from registry.keepers.models import Keeper, KeeperToken
from registry.keepers.services import keeper_join
from tests.factories.registry import ANY_STATE, Api, counted, joined, statements, stored, told

pytestmark = pytest.mark.django_db

NOON = "2026-05-31T12:00:00Z"


def made(keeper: Api, **body: Any) -> dict[str, Any]:
    """A further token of a keeper."""
    answer: dict[str, Any] = keeper.post("keepers/me/tokens/", body, status=201)
    return answer


# --- tokens -------------------------------------------------------------------------------------


def test_tokens__further_ones_speak_for_the_same_keeper():
    keeper = joined()
    response = keeper.send("post", "keepers/me/tokens/", {"label": "  shed computer "})
    new = response.json()
    assert response.status_code == 201
    assert response.headers["Cache-Control"] == "no-store"
    assert new["label"] == "shed computer"
    assert new["token"].startswith(new["starts_with"])
    assert (len(new["token"]), len(new["starts_with"])) == (47, 10)
    assert Api(new["token"]).get("keepers/me/")["keeper"] == keeper.keeper
    assert keeper.get("keepers/me/")["tokens"] == 2


def test_tokens__are_shown_once_and_kept_as_digest_and_first_characters():
    keeper = joined()
    new = made(keeper)
    row = KeeperToken.objects.get(pk=new["id"])
    assert row.sha256 == hashlib.sha256(new["token"].encode()).hexdigest()
    kept = {str(getattr(row, one.attname)) for one in KeeperToken._meta.fields}
    assert not [one for one in kept if new["token"][10:] in one]
    told_later = [keeper.get(f"keepers/me/tokens/{new['id']}/"), keeper.get("keepers/me/tokens/")]
    assert all(new["token"] not in str(one) for one in told_later)
    assert all(row.sha256 not in str(one) for one in told_later)


def test_tokens__list_says_which_is_in_use():
    with time_machine.travel(NOON):
        keeper = joined()
        new = made(keeper, label="second")
        other = Api(new["token"])
        rows = keeper.get("keepers/me/tokens/")["results"]
        assert [one["current"] for one in rows] == [True, False]
        assert [one["last_used_on"] for one in rows] == ["2026-05-31", None]
        rows = other.get("keepers/me/tokens/")["results"]
        assert [one["current"] for one in rows] == [False, True]
        assert [one["last_used_on"] for one in rows] == ["2026-05-31", "2026-05-31"]
    assert rows[1] == {
        "id": new["id"],
        "label": "second",
        "starts_with": new["token"][:10],
        "created_on": "2026-05-31",
        "last_used_on": "2026-05-31",
        "expires_on": None,
        "expired": False,
        "current": True,
    }


@pytest.mark.parametrize("ordering", ["created_at", "-expires_on", "last_used_on"])
def test_tokens__are_paged_in_any_order(ordering):
    keeper = joined()
    ids = {made(keeper, expires_in_days=n + 1)["id"] for n in range(3)}
    pages = list(keeper.pages("keepers/me/tokens/", page_size=2, ordering=ordering))
    assert [len(one) for one in pages] == [2, 2]
    assert ids < {row["id"] for page in pages for row in page}


def test_tokens__of_others_are_not_there():
    keeper, other = joined(), joined()
    new = made(keeper)
    for method in ("get", "delete"):
        problem = other.refused(method, f"keepers/me/tokens/{new['id']}/", headers=ANY_STATE)
        assert (problem["status"], problem["code"]) == (404, "not-found")
    assert new["id"] not in str(other.get("keepers/me/tokens/"))
    assert keeper.get("keepers/me/")["tokens"] == 2


@pytest.mark.parametrize("which", ["other", "in use"])
def test_tokens__any_may_be_revoked_and_is_unknown_at_once(which):
    keeper = joined()
    other = Api(made(keeper)["token"])
    revoked = keeper if which == "in use" else other
    rows = revoked.get("keepers/me/tokens/")["results"]
    (row_id,) = [one["id"] for one in rows if one["current"]]
    keeper.delete(f"keepers/me/tokens/{row_id}/")
    assert revoked.refused("get", "keepers/me/")["code"] == "unknown-token"
    left = other if which == "in use" else keeper
    assert left.get("keepers/me/")["tokens"] == 1


def test_tokens__the_last_may_be_revoked_for_the_recovery_code_is_left():
    keeper = joined()
    (row,) = keeper.get("keepers/me/tokens/")["results"]
    keeper.delete(f"keepers/me/tokens/{row['id']}/")
    back = Api().post("keepers/recoveries/", {"recovery_code": keeper.recovery_code}, status=201)
    assert back["keeper"] == keeper.keeper


def test_tokens__are_twenty_at_most():
    keeper = joined()
    ids = [made(keeper)["id"] for _ in range(19)]
    before = stored()
    problem = keeper.refused("post", "keepers/me/tokens/", {})
    assert (problem["status"], problem["code"], problem["most"]) == (409, "too-many-tokens", 20)
    assert "DELETE keepers/me/tokens/{id}/" in problem["detail"]
    assert stored() == before
    keeper.delete(f"keepers/me/tokens/{ids[0]}/")
    made(keeper)
    # The code is not used up by a recovery that finds no room, and may make room itself.
    code = {"recovery_code": keeper.recovery_code}
    assert Api().refused("post", "keepers/recoveries/", code)["code"] == "too-many-tokens"
    back = Api().post("keepers/recoveries/", code | {"revoke_tokens": True}, status=201)
    assert Api(back["token"]).get("keepers/me/")["tokens"] == 1


@pytest.mark.parametrize(
    ("body", "pointer", "code"),
    [
        ({"label": "x" * 61}, "#/label", "invalid-body"),
        ({"label": 5}, "#/label", "invalid-body"),
        ({"expires_on": "31.05.2030"}, "#/expires_on", "invalid-body"),
        ({"expires_on": "20300531"}, "#/expires_on", "invalid-body"),
        ({"expires_on": "2030-02-30"}, "#/expires_on", "invalid-body"),
        ({"expires_on": 20300531}, "#/expires_on", "invalid-body"),
        ({"expires_on": "2026-05-30"}, "#/expires_on", "expiry-in-the-past"),
        ({"expires_in_days": 0}, "#/expires_in_days", "invalid-body"),
        ({"expires_in_days": 3651}, "#/expires_in_days", "invalid-body"),
        (
            {"expires_on": "2030-05-31", "expires_in_days": 3},
            "#/expires_in_days",
            "contradictory-statement",
        ),
        ({"name": "Somebody"}, "#/name", "unknown-field"),
    ],
)
def test_tokens__with_a_body_that_can_not_be_are_refused(body, pointer, code):
    with time_machine.travel(NOON):
        keeper = joined()
        before = stored()
        problem = keeper.refused("post", "keepers/me/tokens/", body)
        assert told(problem) == {(pointer, code)}
        assert stored() == before


# --- expiry -------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("body", "last_day"),
    [
        ({"expires_on": "2026-05-31"}, "2026-05-31"),
        ({"expires_on": "2026-06-02"}, "2026-06-02"),
        ({"expires_in_days": 1}, "2026-06-01"),
    ],
)
def test_expiry__is_the_end_of_the_last_day(body, last_day):
    with time_machine.travel(NOON):
        keeper = joined()
        new = made(keeper, **body)
        assert new["expires_on"] == last_day
    short = Api(new["token"])
    with time_machine.travel(f"{last_day}T23:59:59Z"):
        assert short.get("keepers/me/")["keeper"] == keeper.keeper
    over = dt.date.fromisoformat(last_day) + dt.timedelta(days=1)
    with time_machine.travel(f"{over}T00:00:00Z"):
        response = short.send("get", "keepers/me/")
        assert response.headers["WWW-Authenticate"] == 'Bearer error="invalid_token"'
        problem = short.refused("get", "keepers/me/")
        assert (problem["status"], problem["code"]) == (401, "expired-token")
        assert problem["detail"].startswith(f"The last day of this token was {last_day}.")
        rows = keeper.get("keepers/me/tokens/")["results"]
        assert [one["expired"] for one in rows] == [False, True]
        keeper.delete(f"keepers/me/tokens/{new['id']}/")
        assert short.refused("get", "keepers/me/")["code"] == "unknown-token"


# --- day of use ---------------------------------------------------------------------------------


def test_use__is_noted_once_a_day_and_costs_a_statement_only_then():
    with time_machine.travel("2026-05-30T12:00:00Z"):
        keeper = joined()
        assert [counted(keeper, "get", "keepers/me/") for _ in range(3)] == [2, 2, 2]
    with time_machine.travel("2026-05-31T12:00:00Z"):
        assert [counted(keeper, "get", "keepers/me/") for _ in range(3)] == [3, 2, 2]
        (row,) = keeper.get("keepers/me/tokens/")["results"]
        assert (row["created_on"], row["last_used_on"]) == ("2026-05-30", "2026-05-31")
    assert KeeperToken._meta.get_field("last_used_on").get_internal_type() == "DateField"


def test_use__of_an_expired_token_is_not_noted():
    with time_machine.travel("2026-05-31T12:00:00Z"):
        keeper = joined()
        new = made(keeper, expires_on="2026-05-31")
    with time_machine.travel("2026-06-02T12:00:00Z"):
        assert Api(new["token"]).refused("get", "keepers/me/")["code"] == "expired-token"
    assert KeeperToken.objects.get(pk=new["id"]).last_used_on is None


def test_authentication__is_one_statement_and_keeps_nothing_of_the_token():
    new = keeper_join()
    with CaptureQueriesContext(connection) as captured:
        found = TokenAuthentication().owner_of(new.token)
    assert len(statements(captured)) == 1
    assert found == (new.keeper, KeeperToken.objects.get().pk)
    assert new.token not in str(found)


@pytest.mark.parametrize("change", [str.upper, lambda one: one[:-1], lambda one: one + "a"])
def test_authentication__takes_the_token_itself_only(change):
    new = keeper_join()
    assert TokenAuthentication().owner_of(change(new.token)) is None


def test_digests__are_the_published_ones():
    """SHA-256 of "abc": FIPS 180-4, example of the standard's author."""
    known = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
    assert same_digest(known, hashlib.sha256(b"abc").hexdigest())
    assert not same_digest(known, known[:-1] + "e")
    assert not same_digest(known, known + " ")
    keeper = Keeper(recovery_sha256="")
    assert keeper_digest(keeper.pk) == hashlib.sha256(str(keeper.pk).encode()).hexdigest()


# --- recovery -----------------------------------------------------------------------------------


def test_recovery__gives_a_token_and_a_code_and_uses_the_old_one_up():
    keeper = joined()
    body = {"recovery_code": keeper.recovery_code}
    response = Api().send("post", "keepers/recoveries/", body)
    assert response.status_code == 201
    assert response.headers["Cache-Control"] == "no-store"
    back = response.json()
    assert back["keeper"] == keeper.keeper
    assert back["recovery_code"] != keeper.recovery_code
    assert Api(back["token"]).get("keepers/me/")["tokens"] == 2
    assert keeper.get("keepers/me/")["tokens"] == 2
    assert Api().refused("post", "keepers/recoveries/", body)["status"] == 401
    again = Api().post("keepers/recoveries/", {"recovery_code": back["recovery_code"]})
    assert again["keeper"] == keeper.keeper


def test_recovery__after_a_theft_revokes_every_other_token():
    keeper, other = joined(), joined()
    thief = Api(made(keeper)["token"])
    back = Api().post(
        "keepers/recoveries/", {"recovery_code": keeper.recovery_code, "revoke_tokens": True}
    )
    for gone in (keeper, thief):
        assert gone.refused("get", "keepers/me/")["code"] == "unknown-token"
    assert Api(back["token"]).get("keepers/me/")["tokens"] == 1
    assert other.get("keepers/me/")["tokens"] == 1


def test_recovery__says_the_same_of_every_code_that_is_not_taken():
    keeper = joined()
    used = keeper.recovery_code
    Api().post("keepers/recoveries/", {"recovery_code": used})
    codes = (used, "bcr_" + "a" * 43, keeper.token, "x", used.upper())
    before = stored()
    problems = [Api().refused("post", "keepers/recoveries/", {"recovery_code": c}) for c in codes]
    assert stored() == before
    assert all(one == problems[0] for one in problems)
    assert (problems[0]["status"], problems[0]["code"]) == (401, "unknown-recovery-code")
    assert not [c for c in codes[:3] if c in str(problems)]


def test_recovery_code__is_replaced_without_being_told_anything():
    problem = joined().refused("post", "keepers/me/recovery-code/", {"code": "x"})
    assert "There is no field 'code' here; none is expected." in problem["detail"]


def test_recovery_code__is_replaced_by_a_keeper_who_lost_it():
    keeper = joined()
    response = keeper.send("post", "keepers/me/recovery-code/", {})
    assert response.status_code == 201
    assert response.headers["Cache-Control"] == "no-store"
    code = response.json()["recovery_code"]
    lost = {"recovery_code": keeper.recovery_code}
    assert Api().refused("post", "keepers/recoveries/", lost)["status"] == 401
    assert Api().post("keepers/recoveries/", {"recovery_code": code})["keeper"] == keeper.keeper


# --- at once ------------------------------------------------------------------------------------


def at_once(n_times: int, work: Any) -> list[Any]:
    """Answers of the same work by so many threads at a time."""
    answers: list[Any] = []
    ready = threading.Barrier(n_times)

    def run() -> None:
        ready.wait(timeout=20)
        try:
            answers.append(work())
        finally:
            connections.close_all()

    threads = [threading.Thread(target=run) for _ in range(n_times)]
    for one in threads:
        one.start()
    for one in threads:
        one.join(timeout=60)
    assert len(answers) == n_times
    return answers


@pytest.mark.django_db(transaction=True)
def test_recovery__of_many_at_once_with_one_code_one_is_let_in():
    keeper = joined()
    body = {"recovery_code": keeper.recovery_code}
    statuses = at_once(6, lambda: Api().send("post", "keepers/recoveries/", body).status_code)
    assert sorted(statuses) == [201, *[401] * 5]
    assert KeeperToken.objects.count() == 2


@pytest.mark.django_db(transaction=True)
def test_tokens__made_at_once_are_twenty_at_most():
    keeper = joined()
    for _ in range(16):
        made(keeper)
    statuses = at_once(8, lambda: keeper.send("post", "keepers/me/tokens/", {}).status_code)
    assert sorted(statuses) == [201] * 3 + [409] * 5
    assert KeeperToken.objects.count() == 20


# --- an older database --------------------------------------------------------------------------


@pytest.mark.django_db(transaction=True)
def test_migration__keeps_the_tokens_of_an_older_database():
    """Back to the first version and forth again: the token is taken as before, its id is random."""
    keeper = joined()
    executor = MigrationExecutor(connection)
    latest = executor.loader.graph.leaf_nodes()
    try:
        executor.migrate([("keepers", "0001_initial")])
        with connection.cursor() as cursor:
            cursor.execute("SELECT pg_typeof(id)::text FROM keepers_keepertoken")
            assert cursor.fetchall() == [("bigint",)]
    finally:
        executor = MigrationExecutor(connection)
        executor.migrate(latest)
    (row,) = keeper.get("keepers/me/tokens/")["results"]
    assert (row["starts_with"], row["label"], row["current"]) == (None, None, True)
    assert KeeperToken.objects.get().pk.version == 4
