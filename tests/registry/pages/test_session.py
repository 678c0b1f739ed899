"""Signing in on the pages: the cookie, what ends it, and forms from elsewhere."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from typing import Final

import pytest
from django.test import Client
from time_machine import travel

from registry.keepers.models import Keeper, KeeperToken
from registry.pages.choices import KEEPER_COOKIE
from tests.factories.registry import gecko, joined

pytestmark = pytest.mark.django_db

PAGE = {"Accept": "text/html"}


def signed_in(token: str | None, *, stay: bool = False) -> Client:
    """A browser after it sent the form with a token."""
    browser = Client(headers=PAGE)
    response = browser.post(
        "/sign-in/", {"token": token or "", "next": "/account/"} | ({"stay": "yes"} if stay else {})
    )
    assert response.status_code == 303, response.content
    assert response.headers["Location"] == "/account/"
    return browser


def is_signed_in(browser: Client) -> bool:
    return b"Sign out" in browser.get("/join/").content


def test_sign_in__keeps_the_token_sealed_and_away_from_scripts():
    api = joined()
    browser = signed_in(api.token)
    cookie = browser.cookies[KEEPER_COOKIE]
    assert str(api.token) not in cookie.value
    assert str(api.token)[4:20] not in cookie.value
    assert cookie["httponly"]
    assert cookie["samesite"] == "Lax"
    assert cookie["max-age"] == ""
    assert is_signed_in(browser)


def test_sign_in__is_secure_where_the_service_is(settings):
    settings.BROODCOUNT_HTTPS = True
    assert signed_in(joined().token).cookies[KEEPER_COOKIE]["secure"]


@pytest.mark.parametrize("stay", [False, True])
def test_sign_in__lasts_as_long_as_was_asked(stay):
    start = datetime(2026, 11, 25, 6, tzinfo=UTC)
    with travel(start, tick=False):
        browser = signed_in(joined().token, stay=stay)
    with travel(start + timedelta(hours=11), tick=False):
        assert is_signed_in(browser)
    with travel(start + timedelta(hours=13), tick=False):
        assert is_signed_in(browser) is stay


def test_sign_in__ends_after_thirty_days():
    start = datetime(2026, 11, 25, 6, tzinfo=UTC)
    with travel(start, tick=False):
        browser = signed_in(joined().token, stay=True)
    with travel(start + timedelta(days=31), tick=False):
        assert not is_signed_in(browser)


@pytest.mark.parametrize("typed", ["", "bck_nobody", "  ", "\u00e4"])
def test_sign_in__tells_a_wrong_token(typed):
    response = Client(headers=PAGE).post("/sign-in/", {"token": typed})
    assert response.status_code == 422
    assert "token of no keeper" in response.content.decode()
    assert KEEPER_COOKIE not in response.cookies


def test_sign_in__tells_an_expired_token():
    api = joined()
    KeeperToken.objects.update(expires_on=date(2026, 1, 1))
    response = Client(headers=PAGE).post("/sign-in/", {"token": api.token})
    assert response.status_code == 422
    assert "2026-01-01" in response.content.decode()


@pytest.mark.parametrize("away", ["https://elsewhere.example/", "//elsewhere.example", "mine"])
def test_sign_in__goes_on_within_the_service_only(away):
    response = Client().post("/sign-in/", {"token": joined().token, "next": away})
    assert response.headers["Location"] == "/mine/"


@pytest.mark.parametrize("end", ["revoked", "erased", "forged"])
def test_cookie__ends_with_its_token(end):
    api = joined()
    browser = signed_in(api.token)
    if end == "revoked":
        KeeperToken.objects.all().delete()
    elif end == "erased":
        Keeper.objects.all().delete()
    else:
        browser.cookies[KEEPER_COOKIE] = "gAAAAAforged"
    assert not is_signed_in(browser)
    assert browser.cookies[KEEPER_COOKIE].value == ""


def test_sign_out__takes_the_cookie_back_and_leaves_the_token():
    api = joined()
    browser = signed_in(api.token)
    assert browser.post("/sign-out/").status_code == 303
    assert not is_signed_in(browser)
    assert api.get("keepers/me/")["keeper"] == api.keeper


def test_cookie__opens_nothing_of_the_interface():
    browser = signed_in(joined().token)
    answer = browser.get("/api/v1/keepers/me/", headers={"Accept": "application/json"})
    assert answer.status_code == 401


def test_join__shows_both_secrets_once_and_signs_in():
    browser = Client(headers=PAGE)
    page = browser.post("/join/")
    assert page.status_code == 200
    assert (
        page.headers["Cache-Control"] == "private, no-store"
        or "no-store" in page.headers["Cache-Control"]
    )
    shown = page.content.decode()
    assert shown.count("bck_") == shown.count("bcr_") == 1
    assert is_signed_in(browser)
    assert Keeper.objects.count() == 1


def test_join__says_to_a_keeper_that_it_makes_another_one():
    said = "You are signed in already."
    assert said not in Client(headers=PAGE).get("/join/").content.decode()
    assert said in signed_in(joined().token).get("/join/").content.decode()


def test_forms__from_elsewhere_are_refused_with_a_page():
    strict = Client(enforce_csrf_checks=True, headers=PAGE)
    refused = strict.post("/join/")
    assert refused.status_code == 403
    assert "load the page anew" in refused.content.decode()
    assert refused.headers["Content-Type"].startswith("text/html")
    assert not Keeper.objects.exists()
    strict.get("/join/")
    token = strict.cookies["csrftoken"].value
    assert strict.post("/join/", {"csrfmiddlewaretoken": token}).status_code == 200


def test_pages__allow_nothing_inline_and_nothing_from_elsewhere():
    policy = Client().get("/join/").headers["Content-Security-Policy"]
    assert "default-src 'none'" in policy
    assert "unsafe" not in policy
    assert "http" not in policy


def test_errors__are_pages_for_browsers_and_problems_for_programs():
    page = Client().get("/nowhere/", headers=PAGE)
    assert page.status_code == 404
    assert page.headers["Content-Type"].startswith("text/html")
    problem = Client().get("/nowhere/")
    assert problem.status_code == 404
    assert problem.headers["Content-Type"] == "application/problem+json"
    for browser_at_interface in ("/api/v1/nowhere/", "/api/v1/keepers/me/"):
        answer = Client().get(browser_at_interface, headers=PAGE)
        assert answer.headers["Content-Type"] == "application/problem+json"


OPEN = ("/", "/watch/", "/forecast/", "/clutch-in-hand/", "/sign-in/", "/join/", "/recover/")


@pytest.mark.parametrize("path", [*OPEN, "/account/erased/", "/mine/", "/nowhere/"])
def test_pages__are_kept_by_no_cache_on_the_way(path):
    """RFC 9111: ``private`` for shared caches, ``no-store`` for all; they differ by the cookie."""
    anonymous = Client(headers=PAGE).get(path)
    wanted = {"private, no-cache", "private, no-store", "no-store"}
    assert anonymous.headers["Cache-Control"] in wanted
    own = signed_in(joined().token).get(path)
    assert "no-store" in own.headers["Cache-Control"]
    if path != "/nowhere/":
        assert "Cookie" in anonymous.headers["Vary"]
        assert "Cookie" in own.headers["Vary"]


def test_suggestions__may_be_kept_by_all_but_those_of_a_keeper():
    gecko()
    asked = "/suggestions/?species=marsh-lantern-gecko&text=ash"
    anonymous = Client().get(asked)
    assert anonymous.headers["Cache-Control"] == "public, max-age=300"
    assert "Vary" not in anonymous.headers
    own = signed_in(joined().token).get(asked)
    assert own.json() == anonymous.json()
    assert own.headers["Cache-Control"] == "private, no-store"


FORMS: Final = {
    "/clutch-in-hand/": ("species", "sire", "dam_unproven", "hatchlings", "laid"),
    "/report/": ("species", "pairing", "clutch_code"),
    "/mine/duplicates/": ("verdict", "pair", "state"),
    "/mine/pairings/declare/": ("species", "sire_animal", "press"),
    "/account/tokens/": ("act", "token", "label", "expires_on", "press"),
    "/account/erase/": ("receipt",),
    "/account/erased/": ("receipt",),
    "/recover/": ("code", "press"),
    "/sign-in/": ("token", "next"),
    "/join/": ("next", "press"),
}


@pytest.mark.parametrize("path", FORMS)
def test_forms__with_what_is_no_text_are_refused(path):
    """No form of a page reaches the database with a NUL, in a value or in a name."""
    gecko()
    browser = signed_in(joined().token)
    browser.raise_request_exception = False
    before = Keeper.objects.count(), KeeperToken.objects.count()
    for name in FORMS[path]:
        for form in ({name: "a\0b"}, {name: "\0" * 64}, {name: ["a", "\0"]}, {f"{name}\0": "a"}):
            page = browser.post(path, form)
            assert page.status_code == 400, (form, page.content)
            assert "holds a NUL" in page.content.decode()
    assert (Keeper.objects.count(), KeeperToken.objects.count()) == before


def test_limited_keeper__is_not_asked_to_sign_in_again(settings):
    """The page of a refusal is that of somebody who is signed in, and takes nothing back."""
    browser = signed_in(joined().token)
    settings.BROODCOUNT_RATE_LIMITS = True
    settings.BROODCOUNT_RATE_KEEPER = 1
    assert browser.get("/account/").status_code == 200
    limited = browser.get("/account/")
    assert limited.status_code == 429
    assert 0 < int(limited.headers["Retry-After"]) <= 60
    shown = limited.content.decode()
    assert "Your account" in shown
    assert "Sign in" not in shown
    assert KEEPER_COOKIE not in limited.cookies


def test_limited_visitor__sees_a_page_and_may_ask_what_is_answered(settings):
    settings.BROODCOUNT_RATE_LIMITS = True
    settings.BROODCOUNT_RATE_ANONYMOUS = 1
    visitor = Client(headers=PAGE)
    assert visitor.get("/join/").status_code == 200
    limited = visitor.get("/join/")
    assert limited.status_code == 429
    assert limited.headers["Content-Type"].startswith("text/html")
    assert "Sign in" in limited.content.decode()
    for path in ("/", "/mine/", "/sign-out/"):
        asked = visitor.options(path)
        assert (asked.status_code, asked.content) == (200, b"")
        assert "OPTIONS" in asked.headers["Allow"]


@pytest.mark.parametrize("act", ["", "burn"])
def test_form__with_an_act_of_none_of_ours_says_so(act):
    page = signed_in(joined().token).post("/account/tokens/", {"act": act})
    assert page.status_code == 400
    shown = page.content.decode()
    assert "expected &#x27;make&#x27;" in shown
    assert "JSON" not in shown
