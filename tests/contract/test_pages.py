"""Who may see which page, and how many statements each costs; every page is in these tables."""

from __future__ import annotations

import re
from datetime import date
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from registry.keepers.models import Keeper, KeeperToken
from registry.pages.urls import urlpatterns
from tests.factories.pages import Browser, keeper_browser
from tests.factories.registry import GECKO, clutch, gecko, parent, statements

pytestmark = pytest.mark.django_db

GENES = "Ashwater"
PUBLIC: dict[str, int] = {
    "ask": 5,
    "answer": 10,
    "over-time": 4,
    "over-time-picture": 3,
    "suggestions": 1,
    "watch": 6,
    "forecast": 3,
    "check": 1,
    "recover": 1,
    "erased": 1,
    "sign-in": 1,
    "join": 1,
}
"""Statements of one GET by nobody, warm; what is new in the pools has been brought up to date."""
OWN: dict[str, int] = {
    "report": 4,
    "draft": 9,
    "clutches": 5,
    "clutch": 14,
    "revise": 5,
    "withdraw": 4,
    "duplicates": 3,
    "pairings": 3,
    "declare": 2,
    "account": 4,
    "tokens": 3,
    "export": 2,
    "erase": 3,
}
"""Likewise, by the keeper; one statement of each looks the token up."""
POSTED_ONLY = {"sign-out"}
NAMED = {one.name: str(one.pattern) for one in urlpatterns}


@pytest.fixture
def owner() -> Browser:
    """A keeper with a clutch, a draft, a pairing."""
    gecko()
    browser = keeper_browser()
    body = clutch(parent("het ashwater", "S 1"), parent("ashwater", "D 1"))
    browser.clutch_id = browser.api.post("clutches/", body)["id"]  # type: ignore[attr-defined]
    browser.draft = browser.sent(  # type: ignore[attr-defined]
        "/report/", species=GECKO, season="2025", sire="normal", dam="normal", hatchlings="3 normal"
    )
    browser.sent(
        "/mine/pairings/declare/", species=GECKO, season="2026", sire="het reed", dam="het reed"
    )
    return browser


def address(name: str, owner: Any) -> str:
    """The address of a page, with the owner's ids in it."""
    route = NAMED[name]
    given = {
        "species": GECKO,
        "genes": GENES,
        "clutch_id": owner.clutch_id,
        "draft_id": owner.draft.split("/")[2],
    }
    return "/" + re.sub(r"<\w+:(\w+)>", lambda found: given[found[1]], route)


def query_of(name: str) -> dict[str, str]:
    """A query with which the page has work to do."""
    pair = {"species": GECKO, "sire": "het ashwater", "dam": "ashwater"}
    return {
        "forecast": pair,
        "watch": {"species": GECKO},
        "suggestions": {"species": GECKO, "text": "ash"},
    }.get(name, {})


def test_every_page__is_in_a_table():
    assert set(NAMED) == set(PUBLIC) | set(OWN) | POSTED_ONLY


def test_public_pages__are_for_everybody(owner):
    for name in PUBLIC:
        response = Browser().client.get(address(name, owner), query_of(name))
        assert response.status_code == 200, name
        shown = response.getvalue().decode()
        for secret in (owner.api.keeper, owner.clutch_id, "S 1", "D 1"):
            assert secret not in shown, name


@pytest.mark.parametrize("who", ["nobody", "expired", "revoked", "erased"])
def test_own_pages__send_strangers_to_the_sign_in(owner, who):
    stranger = Browser() if who == "nobody" else keeper_browser()
    if who != "nobody":
        theirs = KeeperToken.objects.filter(keeper=stranger.api.keeper)
        if who == "expired":
            theirs.update(expires_on=date(2020, 1, 1))
        elif who == "revoked":
            theirs.delete()
        else:
            Keeper.objects.filter(pk=stranger.api.keeper).delete()
    for name in OWN:
        for method in ("get", "post"):
            response = getattr(stranger.client, method)(address(name, owner))
            assert response.status_code == 303, (name, method)
            assert response.headers["Location"].startswith("/sign-in/?next="), (name, method)
    assert Keeper.objects.filter(pk=owner.api.keeper).exists()


def test_own_pages__of_somebody_else_are_not_there(owner):
    other = keeper_browser()
    for name in OWN:
        path = address(name, owner)
        if owner.clutch_id in path or owner.draft in path:
            for method in ("get", "post"):
                assert getattr(other.client, method)(path).status_code == 404, (name, method)
        else:
            response = other.client.get(path)
            assert response.status_code == 200
            shown = response.content.decode()
            assert owner.clutch_id not in shown
            assert "S 1" not in shown
    assert owner.client.get(owner.draft).status_code == 200


def test_pages__of_a_held_keeper_stay_open(owner):
    Keeper.objects.filter(pk=owner.api.keeper).update(is_held=True)
    for name in OWN:
        assert owner.client.get(address(name, owner)).status_code == 200, name


def test_pages__cost_the_statements_of_the_table(owner):
    found = {}
    for table, browser in ((PUBLIC, Browser()), (OWN, owner)):
        for name in table:
            path, query = address(name, owner), query_of(name)
            browser.client.get(path, query).getvalue()
            with CaptureQueriesContext(connection) as captured:
                browser.client.get(path, query).getvalue()
            found[name] = len(statements(captured))
    assert {name: n for name, n in found.items() if n != (PUBLIC | OWN)[name]} == {}
