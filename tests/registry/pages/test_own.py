"""A keeper's own clutches and account on the pages."""

from __future__ import annotations

import io
import json
import zipfile

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from registry.clutches.models import Clutch, Revision
from registry.keepers.models import Keeper, KeeperToken
from registry.pages.choices import KEEPER_COOKIE
from registry.pages.written import hatchlings_typed
from tests.factories.pages import Browser, Page, keeper_browser
from tests.factories.registry import (
    GECKO,
    Api,
    clutch,
    gecko,
    group,
    joined,
    parent,
    statements,
)

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _species():
    gecko()


def reported(browser: Browser, **more: object) -> str:
    body = clutch(parent("het ashwater", "S 1"), "66% het ashwater", **more)
    return str(browser.api.post("clutches/", body)["id"])


def history(browser: Browser, clutch_id: str) -> list[dict]:
    return browser.api.get(f"clutches/{clutch_id}/revisions/")["results"]


# --- the list -------------------------------------------------------------------------------------


def test_list__shows_own_clutches_only_and_filters():
    browser = keeper_browser()
    mine = reported(browser, season=2024)
    reported(browser)
    other = joined().post("clutches/", clutch())["id"]
    page = browser.get("/mine/")
    assert f"/mine/clutches/{mine}/" in page.links
    assert not any(other in one for one in page.links)
    few = browser.get("/mine/", species=GECKO, season="2024")
    assert [one for one in few.links if one.startswith("/mine/clutches/")] == [
        f"/mine/clutches/{mine}/"
    ]
    assert "None of your clutches fits" in browser.get("/mine/", season="1999").text
    assert "Read 'x'" in browser.get("/mine/", status=422, season="x").text
    assert "You reported none yet" in keeper_browser().get("/mine/").text


def test_list__goes_on_page_by_page_in_a_fixed_number_of_statements():
    browser = keeper_browser()
    lines = [clutch(parent("het ashwater", f"S {n}"), season=2020) for n in range(120)]
    browser.api.bulk(lines[:1])
    with CaptureQueriesContext(connection) as one:
        browser.get("/mine/")
    browser.api.bulk(lines[1:])
    with CaptureQueriesContext(connection) as many:
        page = browser.get("/mine/")
    assert len(statements(many)) == len(statements(one))
    seen = set()
    while True:
        shown = {one for one in page.links if one.startswith("/mine/clutches/")}
        assert shown
        assert not shown & seen
        seen |= shown
        further = [one for one in page.links if "cursor=" in one and "Older" in page.text]
        if len(seen) == 120:
            break
        page = browser.get(further[-1].removeprefix("http://testserver"))
    assert "Newer ones" in page.text


# --- one clutch -----------------------------------------------------------------------------------


def test_clutch__of_somebody_else_is_not_there():
    clutch_id = reported(keeper_browser())
    other = keeper_browser()
    for path in ("", "revise/", "withdraw/"):
        other.get(f"/mine/clutches/{clutch_id}/{path}", status=404)
        other.post(f"/mine/clutches/{clutch_id}/{path}", status=404, act="store", sure="yes")
    assert Clutch.objects.count() == 1


def test_revise__shows_first_and_then_appends():
    browser = keeper_browser()
    path = f"/mine/clutches/{reported(browser)}/"
    form = browser.get(f"{path}revise/").fields
    assert form["hatchlings"] == "5 normal\n1 ashwater"
    typed = {
        "state": form["state"],
        "hatchlings": "4 normal\n1 normal or ashwater\n1 ashwater",
        "sheds": "2",
        "basis": "red eyes",
    }
    shown = browser.post(f"{path}revise/", act="look", **typed)
    assert "It would become state 2" in shown.text
    assert Revision.objects.count() == 1
    stored = {name: shown.fields[name] for name in (*typed, "laid")}
    assert browser.sent(f"{path}revise/", act="store", **stored) == f"{path}#history"
    page = browser.get(path)
    assert "after 2 sheds: red eyes" in page.text
    assert "5 Normal, 1 Ashwater" in page.text
    assert Revision.objects.count() == 2


def test_revise__tells_faults_and_keeps_what_was_typed():
    browser = keeper_browser()
    path = f"/mine/clutches/{reported(browser)}/revise/"
    form = browser.get(path).fields
    page = browser.post(
        path, status=422, act="store", state=form["state"], hatchlings="3 zzz\nnormal", sheds="x"
    )
    assert "Entry 2: 'normal' begins with no count" in page.text
    assert page.fields["hatchlings"] == "3 zzz\nnormal"
    assert Revision.objects.count() == 1


def test_revise__of_an_outdated_state_is_told_once():
    browser = keeper_browser()
    clutch_id = reported(browser)
    path = f"/mine/clutches/{clutch_id}/revise/"
    seen = browser.get(path).fields["state"]
    browser.sent(path, act="store", state=seen, hatchlings="6 normal")
    late = browser.post(path, status=422, act="store", state=seen, hatchlings="6 ashwater")
    assert "It has changed since you opened this page" in late.text
    assert late.fields["hatchlings"] == "6 ashwater"
    assert Revision.objects.count() == 2
    browser.sent(path, act="store", state=late.fields["state"], hatchlings="6 ashwater")
    assert [one["hatchlings"][0]["call"] for one in history(browser, clutch_id)] == [
        "normal",
        "normal",
        "ashwater",
    ]


def test_withdraw__takes_it_back_unless_it_changed():
    browser = keeper_browser()
    path = f"/mine/clutches/{reported(browser)}/"
    seen = browser.get(f"{path}withdraw/").fields["state"]
    browser.sent(
        f"{path}revise/",
        act="store",
        state=browser.get(f"{path}revise/").fields["state"],
        hatchlings="6 normal",
    )
    late = browser.post(f"{path}withdraw/", status=412, state=seen)
    assert "It has changed" in late.text
    assert browser.sent(f"{path}withdraw/", state=late.fields["state"]) == "/mine/"
    assert not Clutch.objects.exists()


def test_withdraw__names_every_reading_of_an_uncertain_call():
    browser = keeper_browser()
    hatched = [group("normal", 2, "ashwater"), group("ashwater", 1)]
    page = browser.get(f"/mine/clutches/{reported(browser, hatchlings=hatched)}/withdraw/")
    assert "2 Normal or Ashwater, 1 Ashwater." in page.text


def test_filters__that_can_not_be_read_do_not_say_that_nothing_was_stored():
    page = keeper_browser().get("/mine/", status=422, season="abc")
    assert "One thing needs another look." in page.text


def test_opinion__is_taken_over_with_one_press():
    browser, friend = keeper_browser(), joined()
    clutch_id = reported(browser, clutch_code="code 1")
    friend.post(
        "second-opinions/",
        {
            "species": GECKO,
            "season": 2025,
            "clutch_code": "code 1",
            "hatchlings": [group("normal", 4), group("ashwater", 2)],
            "sheds": 3,
        },
    )
    path = f"/mine/clutches/{clutch_id}/"
    page = browser.get(path)
    assert "Another keeper" in page.text
    assert friend.keeper not in page.response.content.decode()
    given = {name: page.fields[name] for name in ("opinion",)}
    state = browser.get(f"{path}revise/").fields["state"]
    stale = browser.post(path, status=422, act="take-over", state="0" * 64, **given)
    assert "It has changed" in stale.text
    assert browser.sent(path, act="take-over", state=state, **given) == f"{path}#history"
    assert history(browser, clutch_id)[-1]["kind"] == "second-opinion"
    assert "Taken over as state 2" in browser.get(path).text


def test_bred__reads_the_clutch_anew():
    browser = keeper_browser()
    body = clutch(parent("66% het ashwater", "S 1"), "ashwater", {"normal": 3, "ashwater": 1})
    clutch_id = browser.api.post("clutches/", body)["id"]
    path = f"/mine/clutches/{clutch_id}/"
    page = browser.get(path)
    given = {"role": "sire", "state": page.fields["state"], "basis": "visuals", "act": "bred"}
    wrong = Page(browser.client.post(path, given | {"gene": "zzz", "status": "proven"}))
    assert wrong.status == 422
    assert "'zzz'" in wrong.text
    taken = browser.client.post(path, given | {"gene": "ashwater", "status": "proven"})
    assert taken.headers["Location"] == f"{path}#history"
    shown = browser.get(path)
    assert "Ashwater proven (visuals)" in shown.text
    assert "read anew after breeding" in shown.text


def test_duplicates__are_decided_by_both():
    first, second = keeper_browser(), keeper_browser()
    body = clutch(
        "ashwater het reed",
        "reed het ashwater",
        {"ashwater": 3, "pale reed": 2, "normal": 3, "ashwater pale reed": 1},
        eggs={"laid": 12, "infertile": 2, "died": 1},
    )
    first.api.post("clutches/", body)
    second.api.post("clutches/", body)
    assert "1 waits for a word" in second.get("/mine/").text
    page = second.get("/mine/duplicates/")
    given = {name: page.fields[name] for name in ("pair", "state")}
    assert second.sent("/mine/duplicates/", verdict="different", **given) == "/mine/duplicates/"
    assert "You said: two clutches" in second.get("/mine/duplicates/").text
    assert second.api.get("clutches/")["results"][0]["held"] is None
    late = second.post("/mine/duplicates/", status=412, verdict="same", **given)
    assert "It has changed" in late.text
    keeper_browser().post("/mine/duplicates/", status=404, verdict="same", **given)
    second.post("/mine/duplicates/", status=400, verdict="perhaps", **given)


# --- what is typed --------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "groups",
    [
        [group("normal", 5), group("ashwater", 1)],
        [group("Ashwater", 2, "pale reed", "normal"), group("tidemark x2", 1, sex="female")],
        [group("tidemark", 3, basis="first shed"), group("normal", 1, basis="odd (very)")],
        [group("normal", 1, basis="a; b")],
    ],
)
def test_typed__reads_back_as_it_is_stored(groups):
    browser = keeper_browser()
    body = clutch("tidemark het ashwater het reed", "tidemark het ashwater het reed", groups)
    shown = browser.api.post("clutches/", body)
    typed = hatchlings_typed(GECKO, shown["hatchlings"])
    path = f"/mine/clutches/{shown['id']}/revise/"
    form = browser.get(path).fields
    assert form["hatchlings"] == typed
    browser.sent(path, act="store", state=form["state"], hatchlings=typed)
    first, second = history(browser, shown["id"])
    for one, other in zip(first["hatchlings"], second["hatchlings"], strict=True):
        assert {n: one[n] for n in ("reading", "count", "sex")} == {
            n: other[n] for n in ("reading", "count", "sex")
        }
        assert [n["reading"] for n in one["or"]] == [n["reading"] for n in other["or"]]


# --- the account ----------------------------------------------------------------------------------


def test_account__shows_what_is_kept_and_why_it_is_held():
    browser = keeper_browser()
    reported(browser)
    page = browser.get("/account/")
    assert browser.api.keeper in page.text
    assert "1 clutch" in page.text
    assert page.response.headers["Cache-Control"] == "private, no-store"


def test_tokens__are_made_shown_once_and_revoked():
    browser = keeper_browser()
    page = browser.post("/account/tokens/", act="make", label="phone", expires_on="2099-01-31")
    shown = page.response.content.decode()
    secret = shown[shown.index("bck_") :][:47]
    assert Api(secret).get("keepers/me/")["tokens"] == 2
    assert "phone" in page.text
    assert "taken until 2099-01-31" in page.text
    assert secret not in browser.get("/account/tokens/").response.content.decode()
    token = KeeperToken.objects.get(label="phone")
    assert browser.sent("/account/tokens/", act="revoke", token=str(token.pk)) == "/account/tokens/"
    assert Api(secret).send("get", "keepers/me/").status_code == 401
    bad = browser.post("/account/tokens/", status=422, act="make", expires_on="2001-01-01")
    assert "2001-01-01" in bad.text
    browser.post("/account/tokens/", status=404, act="revoke", token="x")
    other = KeeperToken.objects.exclude(keeper=browser.api.keeper).first()
    assert other is None


def test_tokens__of_others_are_not_there_and_ones_own_signs_out():
    browser, other = keeper_browser(), keeper_browser()
    theirs = KeeperToken.objects.get(keeper=other.api.keeper)
    browser.post("/account/tokens/", status=404, act="revoke", token=str(theirs.pk))
    mine = KeeperToken.objects.get(keeper=browser.api.keeper)
    browser.sent("/account/tokens/", act="revoke", token=str(mine.pk))
    assert browser.client.cookies[KEEPER_COOKIE].value == ""
    assert other.get("/account/").status == 200


def test_recovery_code__is_replaced_and_brings_back():
    browser = keeper_browser()
    page = browser.post("/account/tokens/", act="new-code")
    shown = page.response.content.decode()
    code = shown[shown.index('id="recovery">') + 14 :].partition("<")[0]
    away = Browser()
    wrong = away.post("/recover/", status=422, code=browser.api.recovery_code)
    assert "recovery code" in wrong.text
    back = away.post("/recover/", code=code, revoke="yes")
    assert "shown this once" in back.text
    assert away.get("/account/").text.count(str(browser.api.keeper)) == 1
    assert browser.client.get("/account/").status_code == 303


def test_export__gives_both_forms():
    browser = keeper_browser()
    reported(browser)
    assert "JSON" in browser.get("/account/export/").text
    as_json = browser.client.get("/account/export/", {"form": "json"})
    assert json.loads(as_json.getvalue())["clutches"][0]["sire"]["animal"] == "S 1"
    assert "no-store" in as_json.headers["Cache-Control"]
    table = zipfile.ZipFile(
        io.BytesIO(browser.client.get("/account/export/", {"form": "csv"}).getvalue())
    )
    assert "clutches.csv" in table.namelist()


def test_erase__asks_first_and_then_leaves_nothing():
    browser = keeper_browser()
    reported(browser)
    unsure = browser.post("/account/erase/", status=422)
    assert "Tick that you are sure" in unsure.text
    assert Keeper.objects.exists()
    page = browser.post("/account/erase/", sure="yes")
    assert not Keeper.objects.exists()
    assert not Clutch.objects.exists()
    assert browser.client.cookies[KEEPER_COOKIE].value == ""
    receipt = page.text.partition("all that is left: ")[2].split()[0]
    anybody = Browser()
    assert "Yes, on" in anybody.post("/account/erased/", receipt=receipt).text
    anybody.post("/account/erased/", status=422, receipt="0" * 64)
