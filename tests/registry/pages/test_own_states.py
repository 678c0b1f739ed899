"""States of own clutches on the pages: what changes, what stays, who is let in, how many reads."""

from __future__ import annotations

import re
import uuid
from datetime import UTC, datetime, timedelta
from fractions import Fraction
from html import unescape
from urllib.parse import unquote

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from time_machine import travel

from registry.clutches.models import Clutch, HatchlingGroup, LikelyDuplicate, Revision
from registry.clutches.services.holding import keeper_hold
from registry.keepers.models import Hold, Keeper, KeeperToken
from registry.pages.selectors import INFORMED_SHOWN, informed_by
from tests.factories.pages import PAGE, Browser, Page, keeper_browser
from tests.factories.registry import (
    ANY_STATE,
    GECKO,
    clutch,
    gecko,
    group,
    joined,
    many,
    parent,
    statements,
)

pytestmark = pytest.mark.django_db

COPIED = clutch(
    "ashwater het reed",
    "reed het ashwater",
    {"ashwater": 3, "pale reed": 2, "normal": 3, "ashwater pale reed": 1},
    eggs={"laid": 12, "infertile": 2, "died": 1},
)


@pytest.fixture(autouse=True)
def _species():
    gecko()


def reported(browser: Browser, body: object = None, **more: object) -> str:
    return str(browser.api.post("clutches/", body or clutch(**more))["id"])


def n_statements(browser: Browser, path: str) -> int:
    with CaptureQueriesContext(connection) as captured:
        browser.get(path)
    return len(statements(captured))


# --- who is let in --------------------------------------------------------------------------------

NOBODYS = uuid.UUID(int=7)
PAGES = (
    "/mine/",
    f"/mine/clutches/{NOBODYS}/",
    f"/mine/clutches/{NOBODYS}/revise/",
    f"/mine/clutches/{NOBODYS}/withdraw/",
    "/mine/duplicates/",
    "/account/",
    "/account/tokens/",
    "/account/export/",
    "/account/erase/",
)


@pytest.mark.parametrize("path", PAGES)
def test_pages__send_whoever_is_not_signed_in_to_the_form_and_back(path):
    nobody = Client(headers=PAGE)
    asked = nobody.get(path)
    assert asked.status_code == 303
    form = Page(nobody.get(asked.headers["Location"]))
    signed = nobody.post("/sign-in/", {"token": joined().token, "next": form.fields["next"]})
    assert signed.headers["Location"] == path
    assert Client().post(path, {"sure": "yes", "act": "new-code"}).status_code == 303


def test_pages__of_a_stay_that_is_over_ask_to_sign_in_and_do_nothing():
    start = datetime(2026, 11, 25, 6, tzinfo=UTC)
    with travel(start, tick=False):
        browser = keeper_browser()
    with travel(start + timedelta(days=31), tick=False):
        late = browser.client.post("/account/erase/", {"sure": "yes"})
    assert late.headers["Location"] == "/sign-in/?next=%2Faccount%2Ferase%2F"
    assert Keeper.objects.filter(pk=browser.api.keeper).exists()


def test_forms__from_elsewhere_change_nothing():
    api = joined()
    clutch_id = api.post("clutches/", clutch())["id"]
    strict = Client(enforce_csrf_checks=True, headers=PAGE)
    strict.get("/sign-in/")
    ours = {"csrfmiddlewaretoken": strict.cookies["csrftoken"].value}
    strict.post("/sign-in/", {"token": api.token, **ours})
    for path, fields in (
        ("/account/erase/", {"sure": "yes"}),
        ("/account/tokens/", {"act": "make"}),
        ("/mine/duplicates/", {"verdict": "same"}),
        ("/recover/", {"code": api.recovery_code}),
        (f"/mine/clutches/{clutch_id}/revise/", {"act": "store", "hatchlings": "6 normal"}),
        (f"/mine/clutches/{clutch_id}/withdraw/", {}),
    ):
        assert strict.post(path, fields).status_code == 403, path
    assert Clutch.objects.get().revision == 1
    assert KeeperToken.objects.count() == 1


# --- the list -------------------------------------------------------------------------------------


def test_list__tells_the_state_of_each_clutch():
    browser = keeper_browser()
    reported(browser)
    assert "It counts." in browser.get("/mine/").text
    reported(browser, season=2024, hatchlings={"normal": 4, "mistveil": 2})
    assert "2 hatchlings of a call that these parents can not give" in browser.get("/mine/").text
    Hold.objects.create(
        keeper_id=browser.api.keeper, reason="Too many at once.", since="2026-01-02"
    )
    keeper_hold(uuid.UUID(browser.api.keeper))
    page = browser.get("/mine/")
    assert "It counts." not in page.text
    assert page.text.count("Held by a moderator") == 2
    assert "since 2026-01-02: Too many at once." in browser.get("/account/").text


def test_list__is_read_in_as_many_statements_for_none_as_for_500():
    nobody = n_statements(keeper_browser(), "/mine/")
    browser = keeper_browser()
    lines = [clutch(parent("het ashwater", f"S {n}"), season=2020) for n in range(500)]
    browser.api.bulk(lines)
    assert Clutch.objects.count() == 500
    with CaptureQueriesContext(connection) as captured:
        page = browser.get("/mine/")
    assert page.text.count("It counts.") == 50
    # The prefetch of hatchlings has nothing to ask for where there are no clutches.
    assert len(statements(captured)) <= nobody + 1


def test_list__tells_what_is_wrong_with_an_address():
    browser = keeper_browser()
    reported(browser)
    page = browser.get("/mine/", status=422, cursor="x", season="20x")
    assert "The cursor was not given out by this list" in page.text
    assert "Read '20x', expected a year" in page.text
    assert "Did you mean" in browser.get("/mine/", status=422, species="marsh-lantern-geko").text


# --- one clutch -----------------------------------------------------------------------------------


def test_clutch__is_read_in_a_fixed_number_of_statements():
    browser, friend = keeper_browser(), joined()
    clutch_id = reported(browser, clutch_code="code 9")
    path = f"/mine/clutches/{clutch_id}/"
    before = n_statements(browser, path)
    for sheds in (1, 2, 3):
        body = {"hatchlings": [group("normal", 6 - sheds), group("ashwater", sheds)]}
        response = browser.api.send(
            "post",
            f"clutches/{clutch_id}/revisions/",
            body | {"sheds": sheds},
            headers=ANY_STATE,
        )
        assert response.status_code == 201
        opinion = body | {"species": GECKO, "season": 2025, "clutch_code": "code 9"}
        friend.post("second-opinions/", opinion)
    assert n_statements(browser, path) == before
    assert browser.get(path).text.count("Agree, and take it over") == 3


def test_clutch__leads_to_the_combinations_that_it_informs():
    browser = keeper_browser()
    clutch_id = reported(browser)
    page = browser.get(f"/mine/clutches/{clutch_id}/")
    answers = [one for one in page.links if one.startswith("/combinations/")]
    assert answers == [f"/combinations/{GECKO}/Ashwater/"]
    assert browser.get(answers[0]).status == 200
    large = reported(browser, many())
    page = browser.get(f"/mine/clutches/{large}/")
    answers = [one for one in page.links if one.startswith("/combinations/")]
    assert len(answers) == len(set(answers)) == INFORMED_SHOWN
    # The list of the interface has all that was reported on, which this keeper alone did.
    listed = [
        one["combination"]
        for rows in browser.api.pages("combinations/", species=GECKO, page_size=200)
        for one in rows
    ]
    assert f"And {len(listed) - INFORMED_SHOWN} more." in page.text
    assert {unquote(one.split("/")[3]) for one in answers} <= set(listed)


def test_clutch__that_waits_informs_nothing_and_says_so_when_it_is_new():
    first, second = keeper_browser(), keeper_browser()
    reported(first, COPIED)
    later = reported(second, COPIED)
    page = second.get(f"/mine/clutches/{later}/", new="yes")
    assert "It waits" in page.text
    assert "counts in every pool" not in page.text
    assert not any(one.startswith("/combinations/") for one in page.links)
    assert informed_by(Clutch.objects.get(pk=later)).combinations == []
    page = first.get(f"/mine/clutches/{Clutch.objects.exclude(pk=later).get().pk}/", new="yes")
    assert "counts in every pool" in page.text


def test_clutch__is_held_against_its_parents_however_long_it_is():
    browser = keeper_browser()
    calls = [group("ashwater", 1, "pale reed", basis="b" * 90 + f" {n:03}") for n in range(40)]
    eggs = {"laid": 45, "infertile": 1, "died": 4}
    large = clutch(hatchlings=calls, eggs=eggs)
    large["sire"]["unproven"] = ["ashwater"]
    page = browser.get(f"/mine/clutches/{reported(browser, large)}/")
    html = page.response.content.decode()
    form = re.search(r'<form method="post" action="/clutch-in-hand/">.*?</form>', html, re.DOTALL)
    assert form
    typed = re.findall(r'<input type="hidden" name="(\w+)" value="([^"]*)"', form[0])
    fields = {name: unescape(text) for name, text in typed}
    looked_at = browser.post("/clutch-in-hand/", **fields)
    assert looked_at.text.count("(b" + "b" * 89) == 40
    assert (looked_at.fields["died"], looked_at.fields["sire_unproven"]) == ("4", "Ashwater")


def test_opinion__of_another_clutch_is_not_taken_over():
    browser, friend = keeper_browser(), joined()
    mine, other = reported(browser), reported(browser, season=2024, clutch_code="code 2")
    opinion = friend.post(
        "second-opinions/",
        {
            "species": GECKO,
            "season": 2024,
            "clutch_code": "code 2",
            "hatchlings": [group("normal", 6)],
        },
    )["id"]
    state = browser.get(f"/mine/clutches/{mine}/revise/").fields["state"]
    page = browser.post(
        f"/mine/clutches/{mine}/", status=422, act="take-over", opinion=opinion, state=state
    )
    assert f"The clutch has no second opinion {opinion}" in page.text
    assert Revision.objects.filter(clutch__in=[mine, other]).count() == 2


# --- revising -------------------------------------------------------------------------------------


def test_revise__shows_what_changes_and_the_history_tells_it():
    browser = keeper_browser()
    path = f"/mine/clutches/{reported(browser, eggs={'laid': 8})}/"
    form = browser.get(f"{path}revise/").fields
    typed = {"state": form["state"], "hatchlings": "4 normal\n2 ashwater", "laid": "", "died": "1"}
    shown = browser.post(f"{path}revise/", act="look", **typed)
    told = (
        "Normal: 5 before, 4 now.",
        "Ashwater: 1 before, 2 now.",
        "Eggs laid: 8 before, not counted now.",
        "Developed and died: not counted before, 1 now.",
    )
    assert all(one in shown.text for one in told)
    browser.sent(f"{path}revise/", act="store", **typed)
    page = browser.get(path)
    assert all(one in page.text for one in told)
    assert Clutch.objects.get().eggs_laid is None


def test_revise__keeps_what_a_line_can_not_say_where_it_is_left_alone():
    browser = keeper_browser()
    calls = [
        group("normal", 1, "ashwater", weights=[0.3, 0.7]),
        group("ashwater", 2, basis="odd (very)"),
        group("normal", 3),
    ]
    clutch_id = reported(browser, hatchlings=calls)
    path = f"/mine/clutches/{clutch_id}/revise/"
    form = browser.get(path).fields
    assert form["hatchlings"].splitlines() == ["1 normal or Ashwater", "2 ashwater", "3 normal"]
    typed = "1 normal or Ashwater\n2 ashwater\n3 normal (second shed)"
    browser.sent(path, act="store", state=form["state"], hatchlings=typed)
    unsure, sure, changed = HatchlingGroup.objects.filter(clutch=clutch_id).order_by("place")
    assert [Fraction(one["weight"]) for one in unsure.readings] == [
        Fraction(3, 10),
        Fraction(7, 10),
    ]
    assert (sure.basis, changed.basis) == ("odd (very)", "second shed")
    state = browser.get(path).fields["state"]
    browser.sent(path, act="store", state=state, hatchlings="2 normal or ashwater\n4 normal")
    unsure, _normal = HatchlingGroup.objects.filter(clutch=clutch_id).order_by("place")
    assert all("weight" not in one for one in unsure.readings)


def test_revise__changes_the_number_of_hatchlings_as_a_correction_only():
    browser = keeper_browser()
    path = f"/mine/clutches/{reported(browser)}/revise/"
    form = browser.get(path).fields
    typed = {"state": form["state"], "hatchlings": "5 normal\n2 ashwater"}
    page = browser.post(path, status=422, act="store", kind="shed", **typed)
    assert "The clutch had 6 hatchlings, and here are 7" in page.text
    assert page.fields["hatchlings"] == typed["hatchlings"]
    only = typed | {"hatchlings": "1 normal"}
    one = browser.post(path, status=422, act="store", kind="shed", **only)
    assert "The clutch had 6 hatchlings, and here is 1." in one.text
    browser.post(path, status=422, act="store", kind="breeding", **typed)
    browser.sent(path, act="store", kind="correction", **typed)
    assert [one.kind for one in Revision.objects.order_by("number")] == ["report", "correction"]


def test_revise__of_an_outdated_state_shows_what_is_stored_now():
    browser = keeper_browser()
    path = f"/mine/clutches/{reported(browser)}/revise/"
    seen = browser.get(path).fields["state"]
    browser.sent(path, act="store", state=seen, hatchlings="6 normal")
    for act in ("look", "store"):
        late = browser.post(path, status=422, act=act, state=seen, hatchlings="6 ashwater")
        shown = late.response.content.decode()
        assert "<details open><summary>As it is stored now, state 2</summary>" in shown
        assert late.fields["hatchlings"] == "6 ashwater"


def test_revise__beyond_a_days_cap_is_told_with_all_that_was_typed(settings):
    settings.BROODCOUNT_RATE_LIMITS = True
    settings.BROODCOUNT_DAILY_REVISIONS = 1
    browser = keeper_browser()
    path = f"/mine/clutches/{reported(browser)}/revise/"
    for n_normal in (6, 5):
        state = browser.get(path).fields["state"]
        typed = f"{n_normal} normal\n{6 - n_normal} ashwater" if n_normal < 6 else "6 normal"
        answer = Page(
            browser.client.post(path, {"act": "store", "state": state, "hatchlings": typed})
        )
    assert answer.status == 429
    assert "a day: 0 left today" in answer.text
    assert answer.fields["hatchlings"] == "5 normal\n1 ashwater"
    assert Revision.objects.count() == 2


# --- copies ---------------------------------------------------------------------------------------


def test_duplicates__tell_both_sides_and_who_is_waited_for():
    first, second = keeper_browser(), keeper_browser()
    earlier, later = reported(first, COPIED), reported(second, COPIED)
    mine, theirs = first.get("/mine/duplicates/"), second.get("/mine/duplicates/")
    assert f"/mine/clutches/{earlier}/" in mine.links
    assert f"/mine/clutches/{later}/" not in mine.links
    assert later not in mine.response.content.decode()
    assert earlier not in theirs.response.content.decode()
    assert "It counts. Later report Another keeper's" in mine.text
    assert "The later report waits until its keeper says" in mine.text
    assert "Your later report waits until you say" in theirs.text
    assert "Parents, season, eggs and calls agree" in mine.text
    given = {name: mine.fields[name] for name in ("pair", "state")}
    first.sent("/mine/duplicates/", verdict="different", **given)
    # The earlier keeper's word alone does not let the later report count.
    assert LikelyDuplicate.objects.get().state == "likely"
    said = first.get("/mine/duplicates/").text
    assert "The later report waits until its keeper says" in said
    assert "You said: two clutches" in said
    assert (
        "wait" not in first.get("/mine/").text.partition("Possible copies")[2].partition("Your")[0]
    )
    assert "Possible copies: 1 waits for a word" in second.get("/mine/").text


def test_duplicates__name_a_shared_code_as_the_reason():
    first, second = keeper_browser(), keeper_browser()
    reported(first, clutch_code="our code")
    reported(second, clutch_code="our code")
    assert "Both name the same clutch code" in second.get("/mine/duplicates/").text
    assert "Taken for one clutch" in second.get("/mine/duplicates/").text


def test_duplicates__are_read_in_a_fixed_number_of_statements():
    first, second = keeper_browser(), keeper_browser()
    assert "None of your reports looks like" in second.get("/mine/duplicates/").text
    reported(first, COPIED)
    reported(second, COPIED)
    one = n_statements(second, "/mine/duplicates/")
    for season in (2020, 2021, 2022):
        reported(first, COPIED | {"season": season})
        reported(second, COPIED | {"season": season})
    assert LikelyDuplicate.objects.count() == 4
    assert n_statements(second, "/mine/duplicates/") == one


# --- account --------------------------------------------------------------------------------------


@pytest.mark.parametrize("act", ["", "mak", "take-over"])
def test_tokens__make_none_for_a_form_that_does_not_ask_for_it(act):
    browser = keeper_browser()
    page = browser.post("/account/tokens/", status=400, act=act, label="phone")
    assert "expected 'make', 'revoke' or 'new-code'" in page.text
    assert KeeperToken.objects.count() == 1


def test_tokens__mark_the_one_in_use_and_the_expired():
    browser = keeper_browser()
    browser.post("/account/tokens/", act="make", label="barn")
    KeeperToken.objects.filter(label="barn").update(expires_on="2026-01-01")
    page = browser.get("/account/tokens/")
    assert page.text.count("(the one you are signed in with)") == 1
    assert "Without a label" in page.text.partition("(the one you are signed in with)")[0]
    assert "expired 2026-01-01" in page.text


@pytest.mark.parametrize(
    ("path", "fields"),
    [
        ("/account/tokens/", {"act": "make"}),
        ("/account/tokens/", {"act": "new-code"}),
        ("/recover/", {}),
        ("/account/erase/", {"sure": "yes"}),
    ],
)
def test_secrets__are_kept_by_nothing_on_the_way(path, fields):
    browser = keeper_browser()
    code = {"code": str(browser.api.recovery_code)} if path == "/recover/" else {}
    page = browser.post(path, **fields, **code)
    assert "no-store" in page.response.headers["Cache-Control"]


def test_recover__keeps_the_other_tokens_unless_they_are_to_go():
    browser = keeper_browser()
    away = Browser()
    away.post("/recover/", code=f"  {browser.api.recovery_code} ")
    assert browser.client.get("/account/").status_code == 200
    again = away.post("/recover/", status=422, code=str(browser.api.recovery_code))
    assert "bcr_" in again.text
    assert KeeperToken.objects.count() == 2


def test_erase__leaves_other_keepers_alone_and_shows_the_receipt_once():
    browser, other = keeper_browser(), keeper_browser()
    reported(browser)
    reported(other, season=2024)
    page = browser.post("/account/erase/", sure="yes")
    assert "1 clutch," in page.text
    assert [str(one.pk) for one in Keeper.objects.all()] == [other.api.keeper]
    assert browser.api.send("get", "keepers/me/").status_code == 401
    assert browser.client.get("/account/").status_code == 303
    assert browser.client.post("/account/erase/", {"sure": "yes"}).status_code == 303
    assert Clutch.objects.get().keeper_id == uuid.UUID(other.api.keeper)


def test_clutch__tells_why_a_reading_can_not_be_there_once_for_calls_alike():
    browser = keeper_browser()
    calls = [
        group("mistveil", 1),
        group("mistveil", 1, sex="female"),
        group("normal", 2, "mistveil"),
    ]
    page = browser.get(f"/mine/clutches/{reported(browser, hatchlings=calls)}/")
    assert page.text.count("(not from these parents)") == 2
    reason = "Mistveil can not come from these parents, which give a normal look there."
    assert f"Mistveil, Mistveil: {reason}" in page.text
    # And once for the reading that the third entry may be.
    assert page.text.count(reason) == 2
