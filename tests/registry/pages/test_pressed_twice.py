"""Buttons of own clutches that are pressed twice: done once, and told as done."""

from __future__ import annotations

from typing import Any

import pytest

from registry.clutches.choices import DuplicateState
from registry.clutches.models import Clutch, LikelyDuplicate, Opinion, Revision
from tests.factories.pages import Browser, keeper_browser, sent_at_once
from tests.factories.registry import GECKO, Api, clutch, gecko, group, joined

pytestmark = pytest.mark.django_db(transaction=True)

CODE = "shelf 4"


def reported(api: Api, **change: Any) -> str:
    gecko()
    made = api.post("clutches/", clutch(clutch_code=CODE, **change))
    return str(made["id"])


def looked_over(browser: Browser, path: str) -> dict[str, str]:
    """A change that was looked over and stands ready to be stored."""
    typed = {**browser.get(path).fields, "hatchlings": "4 normal\n2 ashwater", "sheds": "1"}
    fields = browser.post(path, act="look", **typed).fields
    return {name: fields[name] for name in ("state", "hatchlings", "sheds", "basis")}


def test_revision__is_stored_once():
    browser = keeper_browser()
    assert browser.api is not None
    path = f"/mine/clutches/{reported(browser.api)}/"
    form = looked_over(browser, f"{path}revise/")
    for _press in range(3):
        assert browser.sent(f"{path}revise/", act="store", **form) == f"{path}#history"
    assert Revision.objects.count() == 2


def test_revision__is_stored_once_by_several_windows():
    browser = keeper_browser()
    assert browser.api is not None
    path = f"/mine/clutches/{reported(browser.api)}/"
    form = looked_over(browser, f"{path}revise/")
    led = sent_at_once(browser.api, f"{path}revise/", act="store", **form)
    assert led == [f"{path}#history"] * 4
    assert Revision.objects.count() == 2


@pytest.mark.parametrize("change", [{"sheds": "2"}, {"basis": "red eyes"}, {"kind": "correction"}])
def test_revision__with_other_words_is_no_second_press(change):
    """What it rests on is part of what is said, so it is neither stored unseen nor forgotten."""
    browser = keeper_browser()
    assert browser.api is not None
    path = f"/mine/clutches/{reported(browser.api)}/"
    form = looked_over(browser, f"{path}revise/")
    browser.sent(f"{path}revise/", act="store", **form)
    page = browser.post(f"{path}revise/", status=422, act="store", **{**form, **change})
    assert "It has changed since you opened this page" in page.text
    assert Revision.objects.count() == 2


def test_opinion__is_taken_over_once_by_several_windows():
    browser = keeper_browser()
    assert browser.api is not None
    path = f"/mine/clutches/{reported(browser.api)}/"
    said = {"species": GECKO, "season": 2025, "clutch_code": CODE}
    said["hatchlings"] = [group("normal", 4), group("ashwater", 2)]
    joined().post("second-opinions/", said, status=201)
    page = browser.get(path)
    form = {
        "act": "take-over",
        "opinion": str(Opinion.objects.get().pk),
        "state": page.fields["state"],
    }
    assert sent_at_once(browser.api, path, **form) == [f"{path}#history"] * 4
    assert browser.sent(path, **form) == f"{path}#history"
    assert Revision.objects.count() == 2


def test_verdict__is_said_once_and_not_turned_round_unseen():
    browser, other = keeper_browser(), joined()
    assert browser.api is not None
    reported(browser.api)
    reported(other)
    pair = LikelyDuplicate.objects.get()
    page = browser.get("/mine/duplicates/")
    form = {"pair": str(pair.pk), "state": page.fields["state"]}
    for _press in range(2):
        assert browser.sent("/mine/duplicates/", verdict="same", **form) == "/mine/duplicates/"
    turned = browser.post("/mine/duplicates/", status=412, verdict="different", **form)
    assert "It has changed since you opened this page" in turned.text
    pair.refresh_from_db()
    assert pair.earlier_says is True
    assert pair.state in {DuplicateState.LIKELY, DuplicateState.CONFIRMED}
    assert Clutch.objects.count() == 2
