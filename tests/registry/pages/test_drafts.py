"""Drafts and declarations: two windows, presses that come twice, what no field should hold."""

from __future__ import annotations

from datetime import UTC, date, datetime
from uuid import UUID

import pytest
from django.core.management import call_command
from django.db import connection
from django.test.utils import CaptureQueriesContext
from time_machine import travel

from registry.clutches.models import Clutch, Draft
from registry.clutches.services.holding import keeper_hold
from registry.pages import brought
from registry.pages.states import state_of
from registry.pairings.models import Pairing
from registry.pools.models import PooledTarget
from tests.factories.pages import Browser, keeper_browser, sent_at_once
from tests.factories.registry import GECKO, clutch, gecko, parent, statements
from tests.registry.pages.test_report import CALLED, TYPED, handed_in

pytestmark = pytest.mark.django_db

DECLARED = {"species": GECKO, "season": "2026", "sire": "het ashwater", "dam": "het ashwater"}
FIELDS = set(brought.FIELDS)
SEXES = ("male", "female")


@pytest.fixture(autouse=True)
def _species():
    gecko()


def declared(browser: Browser, **changed: str) -> str:
    """Declare a pairing with a form of its own; its id."""
    press = browser.get("/mine/pairings/declare/").fields["press"]
    led = browser.sent("/mine/pairings/declare/", press=press, **DECLARED | changed)
    return led.rpartition("=")[2]


# --- looking over -------------------------------------------------------------------------------


def test_look__says_what_the_check_of_the_interface_says():
    browser = keeper_browser()
    page = browser.get(browser.sent("/report/", **TYPED))
    body = clutch(
        parent(TYPED["sire"]),
        TYPED["dam"],
        CALLED,
        season=2025,
        eggs={"laid": 7, "died": 1},
    )
    told = browser.api.post("clutch-checks/", body, status=200)
    assert told["surprise"]["sentence"] in page.text
    assert told["not_possible"]
    assert told["missed"]
    assert told["parents"]
    for one in told["not_possible"]:
        assert f"{one['count']} {one['call']}: {one['reason']}" in page.text
    for one in told["missed"]:
        assert one["combination"] in page.text
    for one in told["parents"]:
        assert one["sentence"] in page.text


def test_look__at_a_declared_pairing_keeps_what_is_stated_of_its_parents():
    """Only the declaration knows that breeding has proven the possible het."""
    browser = keeper_browser()
    sire = parent("66% het reed", proven=["reed"])
    body = {"species": GECKO, "season": 2026, "sire": sire, "dam": parent("pale reed")}
    pairing = browser.api.post("pairings/", body)["id"]
    typed = {"species": GECKO, "season": "2026", "pairing": pairing, "hatchlings": "6 normal"}
    page = browser.get(browser.sent("/report/", **typed))
    told = browser.api.post(
        "clutch-checks/", clutch(sire, "pale reed", [{"call": "normal", "count": 6}]), status=200
    )
    unknown = browser.api.post(
        "clutch-checks/",
        clutch("66% het reed", "pale reed", [{"call": "normal", "count": 6}]),
        status=200,
    )
    assert told["surprise"]["sentence"] != unknown["surprise"]["sentence"]
    assert told["surprise"]["sentence"] in page.text
    assert unknown["surprise"]["sentence"] not in page.text


def test_look__of_a_held_keeper_tells_that_it_would_wait():
    browser = keeper_browser()
    keeper_hold(UUID(browser.api.keeper))
    draft = browser.sent("/report/", **TYPED)
    assert "A moderator holds your clutches: this one would be stored" in browser.get(draft).text
    assert "this one counts nowhere until released" in browser.get(handed_in(browser, draft)).text
    assert not PooledTarget.objects.exists()


@pytest.mark.parametrize(
    ("field", "text", "told"),
    [
        ("laid", "9" * 5_000, "expected a whole number from 0 to 1000000"),
        ("season", "9" * 5_000, "expected a whole number from 0 to 9999"),
        ("sire_animal", "x" * 20_000, "Read a text of 20000 characters, expected at most 60."),
        ("species", "", "The field is missing."),
        ("sire_unproven", "pale reed, zzz", "'zzz' is no known gene"),
        ("clutch_code", "x" * 41, "expected at most 40"),
        ("pairing", "zzz", "expected the id of a pairing that you declared"),
        ("pairing", "01234567-89ab-4def-8123-456789abcdef", "You declared no pairing"),
    ],
)
def test_look__tells_at_its_field_what_can_not_be_read(field, text, told):
    browser = keeper_browser()
    draft = browser.sent("/report/", **TYPED | {field: text})
    page = browser.get(draft, status=422).response.content.decode().replace("&#x27;", "'")
    place = page.index(f'id="{field}-fault"')
    assert told in page[place : page.index("</div>", place)]
    assert "another look; nothing is reported." in page
    assert 'value="hand-in"' not in page
    browser.sent(draft, **TYPED)
    assert "Hand it in as understood" in browser.get(draft).text


@pytest.mark.parametrize(
    ("field", "text", "told"),
    [
        ("sire", "tide\x00mark", "The field 'sire' holds a NUL"),
        ("hatchlings", "3 tidemark" + "\n" * 19_990 + "2 reed", "holds 20,006 characters"),
    ],
)
def test_look__refuses_what_can_not_be_kept_and_keeps_what_was_there(field, text, told):
    browser = keeper_browser()
    draft = browser.sent("/report/", **TYPED)
    for path in ("/report/", draft):
        page = browser.post(path, status=400, **TYPED | {field: text})
        assert told in page.text
    assert Draft.objects.get().typed == TYPED | dict.fromkeys(FIELDS - TYPED.keys(), "")


def test_draft__refuses_an_unknown_act():
    browser = keeper_browser()
    draft = browser.sent("/report/", **TYPED)
    assert "expected 'look'" in browser.post(draft, status=400, act="burn").text
    assert Draft.objects.get().typed["dam"] == TYPED["dam"]


# --- one press, or two --------------------------------------------------------------------------


def test_look__pressed_twice_begins_one_draft():
    browser = keeper_browser()
    draft = browser.sent("/report/", **TYPED)
    assert browser.sent("/report/", **TYPED) == draft
    assert browser.sent("/report/", **TYPED | {"laid": "8"}) != draft
    assert keeper_browser().sent("/report/", **TYPED) != draft
    handed_in(browser, draft)
    assert browser.sent("/report/", **TYPED) != draft


def test_hand_in__of_what_another_window_changed_shows_it_and_reports_nothing():
    browser = keeper_browser()
    draft = browser.sent("/report/", **TYPED)
    seen = browser.get(draft).fields["state"]
    browser.sent(draft, **TYPED | {"hatchlings": "4 tidemark"})
    for given in ({"state": seen}, {}):
        late = browser.post(draft, status=412, act="hand-in", **given)
        assert "Not handed in: this draft is not what you looked over last" in late.text
        assert late.fields["hatchlings"] == "4 tidemark"
        assert not Clutch.objects.exists()
    browser.sent(draft, act="hand-in", state=late.fields["state"])
    assert Clutch.objects.get().n_hatchlings == 4


def test_hand_in__leaves_no_line_out_that_can_not_be_read():
    browser = keeper_browser()
    draft = browser.sent("/report/", **TYPED | {"hatchlings": "3 tidemark\nreed"})
    state = state_of(Draft.objects.get().typed)
    page = browser.post(draft, status=422, act="hand-in", state=state)
    assert "Entry 2: 'reed' begins with no count" in page.text
    assert not Clutch.objects.exists()


def test_hand_in__is_gone_with_a_clutch_that_is_taken_back():
    browser = keeper_browser()
    draft = browser.sent("/report/", **TYPED)
    path = handed_in(browser, draft).partition("?")[0]
    form = browser.get(f"{path}withdraw/").fields
    browser.sent(f"{path}withdraw/", sure="yes", state=form["state"])
    browser.get(draft, status=404)
    assert not Draft.objects.exists()


def test_declare__pressed_twice_declares_once():
    browser = keeper_browser()
    press = browser.get("/mine/pairings/declare/").fields["press"]
    path = "/mine/pairings/declare/"
    first = browser.sent(path, press=press, **DECLARED)
    assert browser.sent(path, press=press, **DECLARED) == first
    assert Pairing.objects.count() == 1
    changed = browser.sent(path, press=press, **DECLARED | {"dam": "ashwater"})
    assert changed != first
    other = keeper_browser()
    assert other.sent(path, press=press, **DECLARED) != first
    assert declared(browser) not in first
    assert Pairing.objects.count() == 4
    wrong = browser.post(path, status=422, press=press, **DECLARED | {"dam": "zzz"})
    assert wrong.fields["press"] == press


@pytest.mark.django_db(transaction=True)
def test_declare__pressed_by_several_at_once_declares_once():
    gecko()
    first = keeper_browser()
    press = first.get("/mine/pairings/declare/").fields["press"]
    led = sent_at_once(first.api, "/mine/pairings/declare/", press=press, **DECLARED)
    assert len(led) == 4
    assert len(set(led)) == 1
    assert Pairing.objects.count() == 1


# --- declared pairings --------------------------------------------------------------------------


def test_report__of_a_second_clutch_keeps_its_pairing_chosen():
    browser = keeper_browser()
    pairing, other = declared(browser), declared(browser)
    typed = {"species": GECKO, "season": "2026", "pairing": pairing, "hatchlings": "5 normal"}
    handed_in(browser, browser.sent("/report/", **typed))
    chosen = f'<option value="{pairing}" selected>'
    (link,) = [one for one in browser.get("/mine/pairings/").links if f"pairing={pairing}" in one]
    page = browser.get(link)
    assert chosen in page.response.content.decode()
    assert "(has a clutch already)" in page.text
    page = browser.get("/report/")
    assert pairing not in page.response.content.decode()
    assert other in page.response.content.decode()
    again = browser.sent("/report/", **typed | {"hatchlings": "2 normal"})
    assert chosen in browser.get(again).response.content.decode()
    assert "A pairing you declared, 2026" in browser.get("/report/").text
    handed_in(browser, again)
    assert "2 clutches reported" in browser.get("/mine/pairings/").text


def test_pairings__whose_season_is_over_say_so():
    with travel(datetime(2026, 3, 1, tzinfo=UTC), tick=False):
        browser = keeper_browser()
        pairing = declared(browser)
        assert "Open: no clutch reported yet" in browser.get("/mine/pairings/").text
    with travel(datetime(2027, 1, 1, tzinfo=UTC), tick=False):
        browser = Browser(browser.api)
        page = browser.get("/mine/pairings/", new=pairing)
        assert "Season over, no clutch reported" in page.text
        assert "It is declared: 2026" in page.text
    theirs = keeper_browser().get("/mine/pairings/", new=pairing)
    assert "It is declared" not in theirs.text


# --- what runs out, what it costs ---------------------------------------------------------------


def test_sweep__removes_the_drafts_of_whoever_does_not_come_back(capsys):
    with travel(datetime(2026, 1, 1, tzinfo=UTC), tick=False):
        browser = keeper_browser()
        browser.sent("/report/", **TYPED)
        handed_in(browser, browser.sent("/report/", **TYPED | {"season": "2024"}))
    with travel(datetime(2026, 1, 3, tzinfo=UTC), tick=False):
        call_command("drafts", "sweep")
    with travel(datetime(2026, 1, 4, tzinfo=UTC), tick=False):
        call_command("drafts", "sweep")
    with travel(datetime(2026, 3, 2, tzinfo=UTC), tick=False):
        call_command("drafts", "sweep")
        assert Draft.objects.get().touched_on == date(2026, 1, 1)
        late = keeper_browser().sent("/report/", **TYPED)
    with travel(datetime(2026, 3, 3, tzinfo=UTC), tick=False):
        call_command("drafts", "sweep")
    said = capsys.readouterr().out.splitlines()
    assert said == [f"Removed {n}." for n in ("0 drafts", "1 draft", "0 drafts", "1 draft")]
    assert late.endswith(f"/{Draft.objects.get().pk}/")
    assert Clutch.objects.count() == 1


def cost(browser: Browser, path: str, **posted: str) -> int:
    """Statements of a page, warm; of a form that is sent, if there are fields."""
    if not posted:
        browser.get(path)
    with CaptureQueriesContext(connection) as captured:
        browser.sent(path, **posted) if posted else browser.get(path)
    return len(statements(captured))


def test_costs__do_not_grow_with_what_is_typed_or_kept():
    browser = keeper_browser()
    long = "\n".join(f"1 {sex} tidemark or normal (shed {n})" for n in range(20) for sex in SEXES)
    typed = TYPED | {"hatchlings": "3 tidemark"}
    more = TYPED | {"laid": "60", "dam_animal": "D", "hatchlings": long, "season": "2024"}
    few = browser.sent("/report/", **typed)
    many = browser.sent("/report/", **more)
    assert cost(browser, few) == cost(browser, many)
    state = browser.get(few).fields["state"]
    first = cost(browser, few, act="hand-in", state=state)
    state = browser.get(many).fields["state"]
    assert cost(browser, many, act="hand-in", state=state) == first
    lists = [cost(browser, "/report/"), cost(browser, "/mine/pairings/")]
    declares = set()
    for n in range(3):
        form = browser.get("/mine/pairings/declare/").fields
        declares.add(cost(browser, "/mine/pairings/declare/", press=form["press"], **DECLARED))
        browser.sent("/report/", **TYPED | {"laid": f"{n}"})
    assert [cost(browser, "/report/"), cost(browser, "/mine/pairings/")] == lists
    assert len(declares) == 1
