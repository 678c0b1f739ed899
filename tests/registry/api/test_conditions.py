"""ETags of reads and ``If-Match`` of edits."""

from __future__ import annotations

import hashlib
import json
import threading
from typing import Any

import pytest
from django.db import connections

from registry.clutches.models import Clutch
from tests.factories.locks import until_waited_for
from tests.factories.registry import API, GECKO, Api, clutch, gecko, joined

pytestmark = pytest.mark.django_db

READS = (
    "species/",
    f"species/{GECKO}/",
    f"species/{GECKO}/genes/",
    "combinations/",
    f"combinations/{GECKO}/ashwater/",
    "flags/",
    "openapi.json",
    "",
)


@pytest.fixture
def keeper() -> Api:
    gecko()
    keeper = joined()
    keeper.post("clutches/", clutch())
    return keeper


@pytest.mark.parametrize("path", READS)
def test_etag__is_of_the_bytes_and_the_same_for_everybody(keeper, path):
    first, second = (api.send("get", path) for api in (keeper, Api()))
    assert first.headers["ETag"] == f'"{hashlib.sha256(first.content).hexdigest()}"'
    assert (first.headers["ETag"], first.content) == (second.headers["ETag"], second.content)
    head = keeper.send("head", path)
    assert head.headers["ETag"] == first.headers["ETag"]
    indented = keeper.send("get", path, headers={"Accept": "application/json; indent=4, */*"})
    assert indented.headers["ETag"] == first.headers["ETag"]


@pytest.mark.parametrize("path", ["clutches/", "keepers/me/", "pairings/"])
def test_etag__of_own_records_follows_them(keeper, path):
    before = keeper.send("get", path)
    assert keeper.send("get", path).headers["ETag"] == before.headers["ETag"]
    keeper.post("clutches/", clutch())
    keeper.post("pairings/", {k: clutch()[k] for k in ("species", "season", "sire", "dam")})
    assert keeper.send("get", path).headers["ETag"] != before.headers["ETag"]


@pytest.mark.parametrize("method", ["get", "head"])
@pytest.mark.parametrize("known", ["{}", "W/{}", '"x", {}', "*", '"a" ,W/"b",{}'])
def test_if_none_match__is_answered_with_nothing_but_the_etag(keeper, method, known):
    etag = keeper.send("get", "combinations/").headers["ETag"]
    answer = keeper.send(method, "combinations/", headers={"If-None-Match": known.format(etag)})
    assert (answer.status_code, answer.content) == (304, b"")
    assert answer.headers["ETag"] == etag
    assert "Content-Type" not in answer.headers


def test_if_none_match__of_another_state_is_answered_in_full(keeper):
    etag = keeper.send("get", "combinations/").headers["ETag"]
    keeper.post("clutches/", clutch())
    for known in (etag, '"x"', etag.strip('"'), ""):
        answer = keeper.send("get", "combinations/", headers={"If-None-Match": known})
        assert answer.status_code == 200
        assert answer.json()["results"]


def test_refusals_and_writes__have_no_etag(keeper):
    assert "ETag" not in keeper.send("get", "nothing/").headers
    assert "ETag" not in keeper.send("post", "clutches/", clutch()).headers
    problem = keeper.send("get", "clutches/x/", headers={"If-None-Match": "*"})
    assert problem.status_code == 404


# --- edits ----------------------------------------------------------------------------------------


def own_clutch(keeper: Api) -> tuple[str, str]:
    path = f"clutches/{keeper.get('clutches/')['results'][0]['id']}/"
    return path, keeper.send("get", path).headers["ETag"]


def test_edit__without_if_match_is_told_how(keeper):
    path, _etag = own_clutch(keeper)
    problem = keeper.refused("delete", path)
    assert (problem["status"], problem["code"]) == (428, "precondition-required")
    assert "GET it first and send the ETag" in problem["detail"]
    assert Clutch.objects.count() == 1


@pytest.mark.parametrize("sent", ['"x"', "W/{}", '"x", W/{}'])
def test_edit__of_another_state_is_refused(keeper, sent):
    path, etag = own_clutch(keeper)
    problem = keeper.refused("delete", path, headers={"If-Match": sent.format(etag)})
    assert (problem["status"], problem["code"]) == (412, "precondition-failed")
    assert Clutch.objects.count() == 1


@pytest.mark.parametrize("sent", ["{}", '"x" , {}', "*", ' W/"y",{} '])
def test_edit__of_the_present_state_is_done(keeper, sent):
    path, etag = own_clutch(keeper)
    answer = keeper.send("delete", path, headers={"If-Match": sent.format(etag)})
    assert answer.status_code == 204
    assert Clutch.objects.count() == 0


@pytest.mark.parametrize("sent", ["", "x", '"x', '"x" "y"', "*, *", '"a"b', '"' + "a" * 4000 + '"'])
def test_edit__with_an_if_match_that_can_not_be_read_is_refused(keeper, sent):
    path, _etag = own_clutch(keeper)
    problem = keeper.refused("delete", path, headers={"If-Match": sent})
    assert (problem["status"], problem["code"], problem["header"]) == (
        400,
        "invalid-header",
        "If-Match",
    )


def test_edit__of_nothing_is_not_found_whatever_it_matches(keeper):
    path, etag = own_clutch(keeper)
    keeper.delete(path)
    for sent in (etag, "*", '"x"'):
        assert keeper.refused("delete", path, headers={"If-Match": sent})["status"] == 404


@pytest.mark.django_db(transaction=True)
def test_edits_at_once_of_one_state__succeed_once():
    """A change between the read and the withdrawal, made by a writer that has the lock first."""
    gecko()
    keeper = joined()
    path = f"clutches/{keeper.post('clutches/', clutch())['id']}/"
    etag = keeper.send("get", path).headers["ETag"]
    n_calls, statuses = 6, []
    ready = threading.Barrier(n_calls)

    def withdraw() -> None:
        try:
            ready.wait(timeout=20)
            answer = Api(keeper.token).send("delete", path, headers={"If-Match": etag})
            statuses.append(answer.status_code)
        finally:
            connections.close_all()

    threads = [threading.Thread(target=withdraw) for _ in range(n_calls)]
    for one in threads:
        one.start()
    for one in threads:
        one.join(timeout=60)
    assert sorted(statuses) == [204] + [404] * (n_calls - 1)


@pytest.mark.django_db(transaction=True)
def test_edit__is_held_against_what_another_writer_left_while_it_waited():
    gecko()
    keeper = joined()
    made = keeper.post("clutches/", clutch())["id"]
    path = f"clutches/{made}/"
    etag = keeper.send("get", path).headers["ETag"]
    answers: list[Any] = []

    def withdraw() -> None:
        try:
            answers.append(Api(keeper.token).send("delete", path, headers={"If-Match": etag}))
        finally:
            connections.close_all()

    other = connections["default"].copy()
    try:
        other.set_autocommit(False)
        with other.cursor() as cursor:
            cursor.execute("SELECT FROM keepers_keeper WHERE id = %s FOR UPDATE", [keeper.keeper])
            cursor.execute("UPDATE clutches_clutch SET season = 2024 WHERE id = %s", [made])
            thread = threading.Thread(target=withdraw)
            thread.start()
            until_waited_for(cursor)
            assert not answers
        other.commit()
        thread.join(timeout=20)
    finally:
        other.close()
    assert [one.status_code for one in answers] == [412]
    assert json.loads(answers[0].content)["instance"] == API + path
    assert Clutch.objects.get().season == 2024
