"""A create that is sent again is answered again and not done again."""

from __future__ import annotations

import re
import secrets
import threading
import uuid
from collections import Counter
from datetime import timedelta
from typing import Any

import pytest
from django.core.management import call_command
from django.db import connection, connections, transaction
from django.utils import timezone

from registry.clutches.models import Clutch
from registry.errors import KeyInUseError, KeyReusedError
from registry.keepers.models import Keeper
from registry.pairings.models import Pairing
from registry.traffic.idempotency import key_pattern
from registry.traffic.models import StoredAnswer
from registry.traffic.sealing import Answer
from registry.traffic.services import answer_once, answers_sweep
from tests.factories.registry import GECKO, Api, clutch, counted, gecko, joined, parent

pytestmark = pytest.mark.django_db

LONG = "8e03978e-40d5-43dd-bc93-6894a57f9324"
PAIRING = {"species": GECKO, "season": 2025, "sire": parent("reed"), "dam": parent("reed")}


def sent(api: Api, path: str, body: Any, key: str, **given: Any) -> Any:
    return api.send("post", path, body, headers={"Idempotency-Key": key}, **given)


@pytest.fixture
def keeper() -> Api:
    gecko()
    return joined()


@pytest.mark.parametrize(
    ("path", "body", "model"),
    [("clutches/", clutch(), Clutch), ("pairings/", PAIRING, Pairing), ("keepers/", {}, Keeper)],
)
def test_create__sent_three_times_is_done_once_and_answered_equally(keeper, path, body, model):
    api = Api() if path == "keepers/" else keeper
    before = model.objects.count()
    first, *others = (sent(api, path, body, LONG) for _ in range(3))
    assert model.objects.count() == before + 1
    assert first.status_code == 201
    assert "Idempotency-Replayed" not in first.headers
    for again in others:
        assert (again.status_code, again.content) == (201, first.content)
        assert again.headers["Idempotency-Replayed"] == "true"
        assert again.headers["Content-Type"] == first.headers["Content-Type"]
        assert again.headers.get("Cache-Control") == first.headers.get("Cache-Control")
    if path == "keepers/":
        assert Api(others[0].json()["token"]).get("keepers/me/")["clutches"] == 0


def test_key__is_the_same_with_and_without_quotes(keeper):
    first = sent(keeper, "clutches/", clutch(), '"a \\"b\\" \\\\c"')
    assert sent(keeper, "clutches/", clutch(), '"a \\"b\\" \\\\c"').content == first.content
    plain = sent(keeper, "clutches/", clutch(), '"abc"')
    assert sent(keeper, "clutches/", clutch(), "abc").content == plain.content != first.content
    assert Clutch.objects.count() == 2


def test_key__of_another_keeper_or_of_nobody_is_another_key(keeper):
    other = joined()
    answers = {sent(api, "clutches/", clutch(), LONG).json()["id"] for api in (keeper, other)}
    sent(Api(), "keepers/", {}, LONG)
    assert len(answers) == Clutch.objects.count() == 2
    assert StoredAnswer.objects.count() == 3


@pytest.mark.parametrize(
    ("path", "change"),
    [
        ("clutches/", {"content": b'{"species": "marsh-lantern-gecko"} '}),
        ("pairings/", {"body": PAIRING}),
    ],
)
def test_key__with_another_body_or_route_is_refused(keeper, path, change):
    assert sent(keeper, "clutches/", clutch(), "k").status_code == 201
    problem = keeper.refused("post", path, headers={"Idempotency-Key": "k"}, **change)
    assert (problem["status"], problem["code"]) == (422, "idempotency-key-reused")
    assert (Clutch.objects.count(), Pairing.objects.count()) == (1, 0)


def test_refusal__is_not_stored_so_that_it_may_be_corrected_with_the_same_key(keeper):
    wrong = sent(keeper, "clutches/", clutch(season=1900), "k")
    assert wrong.json()["code"] == "season-out-of-range"
    assert StoredAnswer.objects.count() == 0
    right = sent(keeper, "clutches/", clutch(), "k")
    assert right.status_code == 201
    assert sent(keeper, "clutches/", clutch(), "k").content == right.content


@pytest.mark.parametrize(
    ("key", "words"),
    [
        ("", "expected 1 to 255 printable"),
        ('"', "expected 1 to 255 printable"),
        ('""', "expected 1 to 255 printable"),
        ('"abc', "expected 1 to 255 printable"),
        ('a"b', "expected 1 to 255 printable"),
        ('"a\\b"', "expected 1 to 255 printable"),
        ('"abc";q=1', "expected 1 to 255 printable"),
        ("é", "expected 1 to 255 printable"),
        ("k" * 256, "expected 1 to 255 printable"),
    ],
)
def test_key__that_can_not_be_read_is_refused(keeper, key, words):
    problem = keeper.refused("post", "clutches/", clutch(), headers={"Idempotency-Key": key})
    assert (problem["status"], problem["code"]) == (400, "invalid-header")
    assert problem["header"] == "Idempotency-Key"
    assert words in problem["detail"]
    assert Clutch.objects.count() == 0


def test_key__of_a_call_that_answers_with_secrets_is_long():
    assert (
        Api()
        .refused("post", "keepers/", {}, headers={"Idempotency-Key": "k" * 21})["detail"]
        .startswith("The Idempotency-Key has 21 characters; this call expects 22 or more")
    )
    assert sent(Api(), "keepers/", {}, "k" * 22).status_code == 201


@pytest.mark.parametrize("shortest", [1, 22])
def test_key_pattern__takes_what_is_as_long_as_it_says(shortest):
    pattern = key_pattern(shortest=shortest)
    for length in (1, 2, 3, 21, 22, 23, 255, 256):
        fits = shortest <= length <= 255
        assert bool(re.fullmatch(pattern, "k" * length)) is fits
        assert bool(re.fullmatch(pattern, '"' + "k" * length + '"')) is fits


def test_create__without_a_key_costs_no_statement_and_with_one_three(keeper):
    plain = counted(keeper, "post", "clutches/", clutch())
    with_key = counted(keeper, "post", "clutches/", clutch(), headers={"Idempotency-Key": "k"})
    again = counted(keeper, "post", "clutches/", clutch(), headers={"Idempotency-Key": "k"})
    # One of each is the token's.
    assert (with_key - plain, again) == (3, 3)


def test_database__holds_neither_key_nor_secret_of_a_stored_answer():
    new = sent(Api(), "keepers/", {}, LONG).json()
    with connection.cursor() as cursor:
        cursor.execute("SELECT s::text, encode(sealed, 'escape') FROM traffic_storedanswer s")
        ((row, plain),) = cursor.fetchall()
    for secret in (new["token"], new["recovery_code"], LONG):
        assert secret not in row
        assert secret not in plain
        assert secret.encode().hex() not in row


def test_keeper_that_leaves__takes_the_stored_answers_along(keeper):
    new = sent(Api(), "keepers/", {}, LONG).json()
    sent(Api(new["token"]), "clutches/", clutch(), "k")
    sent(keeper, "clutches/", clutch(), "k")
    assert StoredAnswer.objects.count() == 3
    Keeper.objects.get(pk=new["keeper"]).delete()
    assert StoredAnswer.objects.get().keeper_id == uuid.UUID(keeper.keeper)


def test_sweep__removes_what_is_older_than_stated(keeper, settings, capsys):
    settings.BROODCOUNT_IDEMPOTENCY_HOURS = 30
    for key, hours in (("old", 31), ("young", 29)):
        sent(keeper, "clutches/", clutch(), key)
        stored_at = timezone.now() - timedelta(hours=hours)
        StoredAnswer.objects.filter(pk=StoredAnswer.objects.latest("pk").pk).update(
            stored_at=stored_at
        )
    call_command("traffic", "sweep")
    assert capsys.readouterr().out == "Removed 1 stored answer and 0 counts of calls.\n"
    assert StoredAnswer.objects.count() == 1
    assert "Idempotency-Replayed" in sent(keeper, "clutches/", clutch(), "young").headers
    assert "Idempotency-Replayed" not in sent(keeper, "clutches/", clutch(), "old").headers
    assert answers_sweep(n_rows=0) == 0


def test_sweep__comes_with_one_stored_answer_in_many(keeper, monkeypatch):
    sent(keeper, "clutches/", clutch(), "old")
    StoredAnswer.objects.update(stored_at=timezone.now() - timedelta(days=365))
    sent(keeper, "clutches/", clutch(), "young")
    assert StoredAnswer.objects.count() == 2
    monkeypatch.setattr(secrets, "randbelow", lambda _below: 0)
    sent(keeper, "clutches/", clutch(), "youngest")
    assert StoredAnswer.objects.count() == 2


# --- at the same time -----------------------------------------------------------------------------


@pytest.mark.django_db(transaction=True)
def test_same_call_many_times_at_once__is_done_once():
    """Whoever comes while the first runs is told at once; whoever comes later gets its answer."""
    gecko()
    keeper = joined()
    n_calls = 12
    ready, answers = threading.Barrier(n_calls), []

    def call() -> None:
        try:
            ready.wait(timeout=20)
            answers.append(sent(Api(keeper.token), "clutches/", clutch(), "k"))
        finally:
            connections.close_all()

    threads = [threading.Thread(target=call) for _ in range(n_calls)]
    for one in threads:
        one.start()
    for one in threads:
        one.join(timeout=60)
    statuses = Counter(one.status_code for one in answers)
    assert statuses[201] >= 1
    assert statuses[201] + statuses[409] == n_calls
    assert len({one.content for one in answers if one.status_code == 201}) == 1
    for one in answers:
        assert (one.headers.get("Retry-After") == "1") is (one.status_code == 409)
    assert Clutch.objects.count() == 1


@pytest.mark.django_db(transaction=True)
def test_answer_once__frees_the_key_when_its_connection_is_lost():
    """As after the death of a worker: the database ends the transaction, write and lock with it."""
    gecko()
    keeper = joined()
    inside, lost = threading.Event(), threading.Event()
    given: dict[str, Any] = {
        "caller": uuid.UUID(keeper.keeper),
        "key": "k",
        "fingerprint": b"f" * 32,
    }
    wrong: list[BaseException] = []

    def write() -> Answer:
        Keeper.objects.filter(pk=keeper.keeper).update(joined_at=timezone.now())
        inside.set()
        assert lost.wait(timeout=20)
        return Answer(201, b"first")

    def first() -> None:
        try:
            answer_once(**given, write=write)
        except BaseException as error:  # noqa: BLE001 - looked at below
            wrong.append(error)
        finally:
            connections.close_all()

    thread = threading.Thread(target=first)
    thread.start()
    assert inside.wait(timeout=20)
    with pytest.raises(KeyInUseError):
        answer_once(**given, write=lambda: Answer(201, b"second"))
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT pg_terminate_backend(pid, 5000) FROM pg_locks "
            "WHERE locktype = 'advisory' AND granted AND database = "
            "(SELECT oid FROM pg_database WHERE datname = current_database())"
        )
        assert cursor.fetchall() == [(True,)]
    assert answer_once(**given, write=lambda: Answer(201, b"second")).body == b"second"
    lost.set()
    thread.join(timeout=20)
    assert len(wrong) == 1
    assert answer_once(**given, write=lambda: Answer(201, b"third")) == Answer(
        201, b"second", is_replayed=True
    )
    with pytest.raises(KeyReusedError):
        answer_once(**given | {"fingerprint": b"g" * 32}, write=lambda: Answer(201, b"third"))


@pytest.mark.django_db(transaction=True)
def test_answer_once__keeps_the_answer_if_and_only_if_the_write_is_kept(keeper):
    given: dict[str, Any] = {"caller": None, "key": LONG, "fingerprint": b"f" * 32}

    def write_and_fail() -> Answer:
        Keeper.objects.filter(pk=keeper.keeper).update(recovery_sha256="x")
        raise RuntimeError("the power went")

    with pytest.raises(RuntimeError):
        answer_once(**given, write=write_and_fail)

    def write_and_refuse() -> Answer:
        Keeper.objects.filter(pk=keeper.keeper).update(recovery_sha256="x")
        return Answer(400, b"no")

    assert answer_once(**given, write=write_and_refuse).body == b"no"
    assert not Keeper.objects.filter(recovery_sha256="x").exists()
    assert not StoredAnswer.objects.exists()
    with transaction.atomic():
        answer_once(**given, write=lambda: Answer(201, b"yes"))
        transaction.set_rollback(True)
    assert not StoredAnswer.objects.exists()
