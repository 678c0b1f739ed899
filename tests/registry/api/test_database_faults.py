"""A database that breaks a call off, or goes away in the middle of it."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from threading import Event
from typing import Any

import pytest
from django.db import OperationalError, connection, connections, transaction

from registry.combinations.api import views
from registry.errors import ErrorCode
from registry.keepers.models import Keeper, KeeperToken
from registry.pages.choices import KEEPER_COOKIE
from registry.pages.views import ask
from tests.factories.locks import PATIENCE, until_waited_for
from tests.factories.pages import PAGE, Browser
from tests.factories.registry import GECKO, PROBLEM, Api, gecko, joined

pytestmark = pytest.mark.django_db(transaction=True)


def in_a_circle(call: Callable[[], Any]) -> Any:
    """The answer to a call that makes a token, while another transaction waits for its keeper.

    The other one keeps new tokens waiting, and asks for the keeper as soon as the call waits: a
    circle. The call has waited longer, so PostgreSQL finds the circle from its side and breaks it.
    """
    blocked = Event()

    def other() -> None:
        try:
            with transaction.atomic(), connection.cursor() as cursor:
                cursor.execute("LOCK TABLE keepers_keepertoken IN SHARE MODE")
                blocked.set()
                until_waited_for(cursor)
                list(Keeper.objects.select_for_update())
        finally:
            connections.close_all()

    with ThreadPoolExecutor(1) as pool:
        running = pool.submit(other)
        assert blocked.wait(PATIENCE)
        answer = call()
        running.result(PATIENCE)
    return answer


def test_deadlock__is_told_and_stores_nothing():
    keeper = joined()
    answer = in_a_circle(lambda: keeper.send("post", "keepers/me/tokens/", {"label": "shelf"}))
    assert answer.status_code == 503, answer.content
    assert answer.headers["Content-Type"] == PROBLEM
    assert answer.headers["Retry-After"] == "1"
    assert answer.json()["code"] == ErrorCode.BROKEN_OFF
    assert KeeperToken.objects.count() == 1
    keeper.post("keepers/me/tokens/", {"label": "shelf"})
    assert KeeperToken.objects.count() == 2


def signed_in_browser() -> Browser:
    """A browser that is answered as by a server, whatever is raised."""
    browser = Browser(joined())
    browser.client.raise_request_exception = False
    return browser


def test_deadlock__on_a_page_is_told_as_a_page():
    browser = signed_in_browser()
    form = {"act": "make", "label": "shelf"}
    page = in_a_circle(lambda: browser.client.post("/account/tokens/", form, headers=PAGE))
    assert page.status_code == 503, page.content
    assert page.headers["Content-Type"].startswith("text/html")
    assert page.headers["Retry-After"] == "1"
    assert "no-store" in page.headers["Cache-Control"]
    assert ErrorCode.BROKEN_OFF.heading in page.content.decode()
    assert KEEPER_COOKIE not in page.cookies  # still signed in
    assert KeeperToken.objects.count() == 1


def _server_gone(*_args: object, **_more: object) -> None:
    with connection.cursor() as cursor:
        cursor.execute("SELECT pg_terminate_backend(pg_backend_pid())")


def test_lost_database__is_told(monkeypatch):
    gecko()
    with monkeypatch.context() as patched:
        patched.setattr(views, "combination_answer", _server_gone)
        problem = Api().refused("get", f"combinations/{GECKO}/ashwater/")
    assert (problem["code"], problem["missing"]) == (ErrorCode.NOT_READY, ["database"])
    assert problem["retry_after"] == 5
    connection.close()  # as the next request does
    assert Api().combination("ashwater")["species"] == GECKO


def test_lost_database__on_a_page_is_told_and_signs_nobody_out(monkeypatch):
    gecko()
    browser = signed_in_browser()
    with monkeypatch.context() as patched:
        patched.setattr(ask, "combination_answer", _server_gone)
        page = browser.client.get(f"/combinations/{GECKO}/ashwater/", headers=PAGE)
    assert page.status_code == 503, page.content
    assert ErrorCode.NOT_READY.heading in page.content.decode()
    assert KEEPER_COOKIE not in page.cookies
    connection.close()
    assert browser.client.get("/account/", headers=PAGE).status_code == 200


def test_other_faults_of_the_database__stay_ours(monkeypatch):
    """A statement that was cancelled would be so again: the operator has to see it."""
    gecko()

    def too_slow(*_args: object) -> None:
        with transaction.atomic(), connection.cursor() as cursor:
            cursor.execute("SET LOCAL statement_timeout = 1; SELECT pg_sleep(1)")

    with pytest.raises(OperationalError):
        too_slow()
    monkeypatch.setattr(views, "combination_answer", too_slow)
    problem = Api().refused("get", f"combinations/{GECKO}/ashwater/")
    assert problem["code"] == ErrorCode.SERVER_ERROR
