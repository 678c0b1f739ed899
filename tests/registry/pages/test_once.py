"""Forms that make secrets: pressed twice, loaded anew, gone back to."""

from __future__ import annotations

import re
import threading
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime, timedelta

import pytest
from django.db import connection
from time_machine import travel

from registry.keepers.models import Erasure, Keeper, KeeperToken
from registry.pages.choices import KEEPER_COOKIE
from registry.traffic.models import StoredAnswer
from tests.factories.pages import Browser, Page, keeper_browser
from tests.factories.registry import Api, joined

pytestmark = pytest.mark.django_db(transaction=True)

SECRET = re.compile(r"bc[kr]_[\w-]{43}")
NOW = datetime(2026, 11, 25, 12, tzinfo=UTC)


def secrets(page: Page) -> list[str]:
    return SECRET.findall(page.text)


def forms() -> Iterator[tuple[str, Browser, str, dict[str, str]]]:
    """Every form that makes a secret: who has it, where it goes, what is in it."""
    yield "join", Browser(), "/join/", {}
    lost = joined()
    yield "recover", Browser(), "/recover/", {"code": str(lost.recovery_code)}
    yield "make", keeper_browser(), "/account/tokens/", {"act": "make", "label": "shelf"}
    yield "new-code", keeper_browser(), "/account/tokens/", {"act": "new-code"}


def opened(name: str) -> tuple[Browser, str, dict[str, str]]:
    """The form as it stands on its page, filled in."""
    browser, path, typed = next((b, p, t) for one, b, p, t in forms() if one == name)
    return browser, path, {**browser.get(path).fields, **typed}


ALL = pytest.mark.parametrize("name", ["join", "recover", "make", "new-code"])


@ALL
def test_form__loaded_anew_makes_nothing_else(name):
    browser, path, form = opened(name)
    first = browser.post(path, **form)
    assert secrets(first)
    before = Keeper.objects.count(), KeeperToken.objects.count()
    codes = set(Keeper.objects.values_list("recovery_sha256"))
    again = browser.post(path, **form)
    assert secrets(again) == secrets(first)
    assert "no-store" in again.response.headers["Cache-Control"]
    assert (Keeper.objects.count(), KeeperToken.objects.count()) == before
    assert set(Keeper.objects.values_list("recovery_sha256")) == codes


@ALL
def test_form__pressed_twice_at_once_makes_one(name):
    """Both windows see the same secrets: the browser shows only the answer that came last."""
    browser, path, form = opened(name)
    before = KeeperToken.objects.count()
    start = threading.Barrier(4)

    def press(_number: int) -> list[str]:
        own = Browser()
        own.client.cookies = browser.client.cookies.copy()
        try:
            start.wait()
            return secrets(own.post(path, **form))
        finally:
            connection.close()

    with ThreadPoolExecutor(4) as windows:
        first, *others = windows.map(press, range(4))
    assert first
    assert others == [first] * 3
    assert KeeperToken.objects.count() - before == (0 if name == "new-code" else 1)


@ALL
def test_form__gone_back_to_later_shows_nothing_again(name):
    """Somebody else at this device goes back to the form and sends it once more."""
    with travel(NOW, tick=False):
        browser, path, form = opened(name)
        shown = secrets(browser.post(path, **form))
        before = Keeper.objects.count(), KeeperToken.objects.count()
    with travel(NOW + timedelta(minutes=3), tick=False):
        again = Page(browser.client.post(path, form))
    assert again.status in {412, 422}
    assert "what it made was shown then" in again.text
    assert not set(secrets(again)) & set(shown)
    assert (Keeper.objects.count(), KeeperToken.objects.count()) == before


def test_form__with_other_words_is_another_one():
    """Back to the form, another label: a second token is wanted."""
    browser, path, form = opened("make")
    first, second = (browser.post(path, **{**form, "label": one}) for one in ("shelf", "tub"))
    assert secrets(first) != secrets(second)
    assert {"shelf", "tub"} <= set(KeeperToken.objects.values_list("label", flat=True))


def test_form__of_another_keeper_tells_nothing():
    browser, path, form = opened("make")
    shown = secrets(browser.post(path, **form))
    other = keeper_browser().post(path, **form)
    assert secrets(other)
    assert secrets(other) != shown


def test_form__of_a_token_that_was_revoked_signs_nobody_in():
    browser, path, form = opened("join")
    browser.post(path, **form)
    KeeperToken.objects.all().delete()
    other = Browser()
    again = other.post(path, status=412, **form)
    assert not secrets(again)
    assert Keeper.objects.count() == 1


def test_form__leaves_nothing_behind_of_who_was_erased():
    browser, path, form = opened("join")
    token, _code = secrets(browser.post(path, **form))
    assert StoredAnswer.objects.count() == 1
    api = Api(token)
    assert api.send("delete", "keepers/me/", headers={"If-Match": "*"}).status_code == 200
    assert not StoredAnswer.objects.exists()


def test_erase__pressed_twice_shows_the_receipt_twice():
    """What the first press answered is not seen, if there was a second one."""
    browser = keeper_browser()
    form = {**browser.get("/account/erase/").fields, "sure": "yes"}
    kept = browser.client.cookies.copy()
    assert form["receipt"] in browser.post("/account/erase/", **form).text
    browser.client.cookies = kept
    again = browser.post("/account/erase/", **form)
    assert "Yes, on" in again.text
    assert again.fields["receipt"] == form["receipt"]
    assert "Sign out" not in again.text
    assert browser.client.cookies[KEEPER_COOKIE].value == ""


def test_erase__pressed_twice_at_once_is_done_once():
    browser = keeper_browser()
    form = {**browser.get("/account/erase/").fields, "sure": "yes"}
    start = threading.Barrier(4)

    def press(_number: int) -> str:
        own = Browser()
        own.client.cookies = browser.client.cookies.copy()
        try:
            start.wait()
            return own.client.post("/account/erase/", form).content.decode()
        finally:
            connection.close()

    with ThreadPoolExecutor(4) as windows:
        pages = list(windows.map(press, range(4)))
    assert all(form["receipt"] in one for one in pages)
    assert not Keeper.objects.exists()
    assert Erasure.objects.count() == 1


@pytest.mark.parametrize("receipt", ["", "0" * 64, "\u0660" * 64, "x" * 100_000])
def test_erase__by_nobody_and_with_no_receipt_asks_to_sign_in(receipt):
    there = Browser().sent("/account/erase/", sure="yes", receipt=receipt)
    assert there == "/sign-in/?next=%2Faccount%2Ferase%2F"
    page = Browser().post("/account/erased/", status=422, receipt=receipt)
    assert "No erasure has this receipt." in page.text


@pytest.mark.parametrize("press", ["", "short", "x" * 300])
def test_form__without_a_number_of_ours_is_taken_all_the_same(press):
    page = Browser().post("/join/", press=press)
    assert len(secrets(page)) == 2
    assert not StoredAnswer.objects.exists()


def test_erase__gives_no_two_parts_of_its_page_one_name():
    """A label leads to the field of its name, not to the receipt above it (HTML, section 3.2.6)."""
    browser = keeper_browser()
    page = browser.post("/account/erase/", sure="yes").response.content.decode()
    names = re.findall(r'\bid="([^"]+)"', page)
    assert "receipt" in names
    assert len(names) == len(set(names))
