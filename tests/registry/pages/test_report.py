"""Reporting on the pages: what was understood before anything counts, drafts, one clutch only."""

from __future__ import annotations

from datetime import UTC, date, datetime

import pytest
from time_machine import travel

from registry.clutches.api.serializers import ClutchInSerializer
from registry.clutches.choices import MAX_DRAFTS
from registry.clutches.models import Clutch, Draft
from registry.clutches.services.drafts import draft_hand_in
from registry.errors import PreconditionFailedError
from registry.keepers.models import Keeper
from registry.keepers.selectors import today
from registry.pages.forms import checked
from registry.pages.states import state_of
from registry.pools.models import Contribution, PooledTarget
from registry.traffic.callers import Caller
from tests.factories.pages import Browser, keeper_browser, sent_at_once
from tests.factories.registry import GECKO, Api, clutch, gecko, joined

pytestmark = pytest.mark.django_db

TYPED = {
    "species": GECKO,
    "season": "2025",
    "sire": "tidemark 66% het reed",
    "sire_animal": "S 1",
    "dam": "pale reed",
    "laid": "7",
    "died": "1",
    "hatchlings": "3 tidemark\n1 normal or reed (first shed)\n1 female copperlatch",
}
CALLED = [
    {"call": "tidemark", "count": 3},
    {"call": "normal", "count": 1, "or": ["reed"], "basis": "first shed"},
    {"call": "copperlatch", "count": 1, "sex": "female"},
]
"""The hatchlings of ``TYPED`` as a program sends them."""


@pytest.fixture(autouse=True)
def _species():
    gecko()


def handed_in(browser: Browser, draft: str) -> str:
    """Where the button leads below what was understood."""
    return browser.sent(draft, act="hand-in", state=browser.get(draft).fields["state"])


def test_report__shows_what_was_understood_and_counts_nothing():
    browser = keeper_browser()
    draft = browser.sent("/report/", **TYPED)
    page = browser.get(draft)
    assert "Tidemark 66% het Pale Reed" in page.text
    assert "1 copperlatch: Copperlatch can not come from these parents" in page.text
    assert "1 of 5 hatchlings can not come from these parents" in page.text
    assert "7 laid, 1 died" in page.text
    assert "first shed" in page.text
    assert "S 1 \u00d7 \u2013" in page.text
    assert "The sire carries Pale Reed with a chance of" in page.text
    assert {name: page.fields[name] for name in TYPED if name != "species"} == {
        name: text for name, text in TYPED.items() if name != "species"
    }
    assert not Clutch.objects.exists()
    assert not PooledTarget.objects.exists()
    assert not Contribution.objects.exists()


def test_report__is_the_clutch_that_the_interface_would_have_stored():
    browser = keeper_browser()
    draft = browser.sent("/report/", **TYPED)
    done = handed_in(browser, draft)
    (shown,) = browser.api.get("clutches/")["results"]
    assert done == f"/mine/clutches/{shown['id']}/?new=yes"
    other = joined().post(
        "clutches/",
        clutch(
            {"genes": TYPED["sire"], "animal": "S 1"},
            TYPED["dam"],
            CALLED,
            season=2025,
            eggs={"laid": 7, "died": 1},
        ),
    )
    for part in ("season", "sire", "dam", "eggs", "hatchlings", "species", "catalogue"):
        assert shown[part] == other[part], part


def test_faults__stand_at_their_fields_and_nothing_is_lost():
    browser = keeper_browser()
    wrong = TYPED | {
        "dam": "pale red",
        "laid": "2",
        "season": "19x5",
        "hatchlings": "tidemark\n3 zzz\n1.2 normal",
    }
    page = browser.get(browser.sent("/report/", **wrong), status=422)
    assert "'pale red' is no known gene" in page.text
    assert "Entry 1: 'tidemark' begins with no count" in page.text
    assert "Entry 3: '1.2 normal' begins with a count by sex" in page.text
    assert "19x5" in page.text
    assert "Hand it in" not in page.text
    assert page.fields["hatchlings"].split("\n") == wrong["hatchlings"].split("\n")
    draft = browser.sent("/report/", **wrong)
    assert "state" not in browser.get(draft, status=422).fields
    state = state_of(Draft.objects.get().typed)
    refused = browser.post(draft, status=422, act="hand-in", state=state)
    assert "nothing is reported" in refused.text
    assert not Clutch.objects.exists()


def test_entries__are_counted_as_they_were_typed():
    browser = keeper_browser()
    typed = TYPED | {"hatchlings": "tidemark\n3 zzz\n2 normal"}
    page = browser.get(browser.sent("/report/", **typed), status=422)
    assert "Entry 1: 'tidemark' begins with no count" in page.text
    assert "Entry 2: 'zzz'" in page.text
    page = browser.get(browser.sent("/report/", **typed | {"dam": "pale red"}), status=422)
    assert "'pale red' is no known gene" in page.text
    assert "Entry 1: 'tidemark' begins with no count" in page.text
    assert "Entry 2: 'zzz'" in page.text


def test_sums__that_do_not_add_up_are_told_before_anything_is_stored():
    browser = keeper_browser()
    page = browser.get(browser.sent("/report/", **TYPED | {"laid": "4"}), status=422)
    assert "4 eggs laid, but 0 never developed, 1 died and 5 hatched make 6." in page.text


def test_draft__survives_and_is_changed_in_its_place():
    browser = keeper_browser()
    draft = browser.sent("/report/", **TYPED)
    again = Browser(browser.api)
    assert draft in again.get("/report/").links
    assert again.sent(draft, **TYPED | {"dam": "het reed"}) == draft
    assert browser.get(draft).fields["dam"] == "het reed"
    assert Draft.objects.count() == 1


def test_hand_in__takes_what_was_looked_over_and_not_what_stands_in_the_form():
    browser = keeper_browser()
    draft = browser.sent("/report/", **TYPED)
    state = browser.get(draft).fields["state"]
    browser.sent(draft, **TYPED | {"hatchlings": "9 normal", "act": "hand-in", "state": state})
    assert (
        sum(one["count"] for one in browser.api.get("clutches/")["results"][0]["hatchlings"]) == 5
    )


def test_hand_in__twice_gives_one_clutch():
    browser = keeper_browser()
    draft = browser.sent("/report/", **TYPED)
    state = browser.get(draft).fields["state"]
    first = browser.sent(draft, act="hand-in", state=state)
    assert browser.sent(draft, act="hand-in", state=state) == first
    assert Clutch.objects.count() == 1
    assert draft not in browser.get("/report/").links
    assert browser.sent(draft, **TYPED | {"dam": "normal"}) == draft
    assert browser.client.get(draft).headers["Location"].startswith("/mine/clutches/")


@pytest.mark.django_db(transaction=True)
def test_hand_in__by_several_at_once_gives_one_clutch():
    gecko()
    first = keeper_browser()
    draft = first.sent("/report/", **TYPED)
    state = first.get(draft).fields["state"]
    led = sent_at_once(first.api, draft, act="hand-in", state=state)
    assert len(led) == 4
    assert len(set(led)) == 1
    assert Clutch.objects.count() == 1


def test_draft__of_somebody_else_is_not_there():
    draft = keeper_browser().sent("/report/", **TYPED)
    other = keeper_browser()
    other.get(draft, status=404)
    for act in ("hand-in", "look", "throw-away"):
        other.post(draft, status=404, act=act, **TYPED)
    assert Draft.objects.get().typed["dam"] == "pale reed"


def test_draft__is_thrown_away():
    browser = keeper_browser()
    draft = browser.sent("/report/", **TYPED)
    assert browser.sent(draft, act="throw-away") == "/report/"
    assert "thrown away" in browser.get(draft, status=404).text


def test_drafts__beyond_the_most_and_old_ones_go():
    with travel(datetime(2026, 1, 1, tzinfo=UTC), tick=False):
        browser = keeper_browser()
        old = browser.sent("/report/", **TYPED)
    with travel(datetime(2026, 2, 1, tzinfo=UTC), tick=False):
        browser = Browser(browser.api)
        oldest = browser.sent("/report/", **TYPED | {"laid": "8"})
        assert Draft.objects.count() == 2
    with travel(datetime(2026, 3, 15, tzinfo=UTC), tick=False):
        browser = Browser(browser.api)
        for n in range(MAX_DRAFTS):
            newest = browser.sent("/report/", **TYPED | {"sire_animal": f"S {n}"})
        browser.get(old, status=404)
        browser.get(oldest, status=404)
        assert browser.get(newest).fields["dam"] == "pale reed"
        assert Draft.objects.count() == MAX_DRAFTS


def test_drafts__are_exported_and_erased():
    browser = keeper_browser()
    browser.sent("/report/", **TYPED)
    (exported,) = browser.api.get("keepers/me/export/")["drafts"]
    assert exported["typed"]["sire_animal"] == "S 1"
    assert date.fromisoformat(exported["touched_on"])
    browser.post("/account/erase/", sure="yes")
    assert not Draft.objects.exists()


def test_report__tells_before_that_it_looks_like_a_copy():
    typed = TYPED | {"hatchlings": "3 tidemark\n2 normal\n1 reed"}
    browser = keeper_browser()
    handed_in(browser, browser.sent("/report/", **typed))
    draft = browser.sent("/report/", **typed)
    assert "looks like the same clutch" in browser.get(draft).text
    clutch_page = browser.get(handed_in(browser, draft))
    assert "It waits" in clutch_page.text


def test_report__tells_nothing_before_of_what_another_keeper_reported():
    """Whoever only looks a report over would learn season and eggs of somebody's clutch."""
    typed = TYPED | {"hatchlings": "3 tidemark\n2 normal\n1 reed"}
    first, second = keeper_browser(), keeper_browser()
    handed_in(first, first.sent("/report/", **typed))
    draft = second.sent("/report/", **typed)
    assert "looks like the same clutch" not in second.get(draft).text
    clutch_page = second.get(handed_in(second, draft))
    assert "It waits" in clutch_page.text


def test_report__joins_a_declared_pairing():
    browser = keeper_browser()
    declared = browser.sent(
        "/mine/pairings/declare/",
        species=GECKO,
        season="2026",
        sire="het ashwater",
        dam="het ashwater",
        dam_animal="D 2",
    )
    assert declared.startswith("/mine/pairings/?new=")
    listed = browser.get("/mine/pairings/")
    assert "Open: no clutch reported yet" in listed.text
    told = browser.get(declared).text
    assert "It is declared: 2026, het Ashwater \u00d7 D 2" in told
    assert "marsh lantern gecko (invented), declared" in told
    (link,) = [one for one in listed.links if "pairing=" in one]
    page = browser.get(link)
    assert "2026: het Ashwater \u00d7 D 2" in page.text
    pairing = declared.rpartition("=")[2]
    draft = browser.sent(
        "/report/", species=GECKO, season="2026", pairing=pairing, hatchlings="5 normal"
    )
    understood = browser.get(draft)
    assert "stronger evidence" in understood.text
    assert "het Ashwater" in understood.text
    handed_in(browser, draft)
    (shown,) = browser.api.get("clutches/")["results"]
    assert (shown["pairing"], shown["declared"]) == (pairing, True)
    assert "1 clutch reported" in browser.get("/mine/pairings/").text


def test_declared__for_a_coming_season_is_reported_from_then_on():
    browser, next_year = keeper_browser(), today().year + 1
    declared = browser.sent(
        "/mine/pairings/declare/",
        species=GECKO,
        season=str(next_year),
        sire="het ashwater",
        dam="het ashwater",
    )
    page = browser.get(declared)
    assert f"Its clutch can be reported from {next_year} on." in page.text
    assert not any(one.startswith("/report/?") for one in page.links)
    with travel(datetime(next_year, 1, 2, tzinfo=UTC), tick=False):
        later = keeper_links(browser)
    assert any(f"season={next_year}" in one for one in later)


def keeper_links(browser):
    """Links of the list of pairings; signed in anew, because the stay may be over."""
    return Browser(browser.api).get("/mine/pairings/").links


def test_declare__tells_faults_at_their_fields():
    browser = keeper_browser()
    page = browser.post(
        "/mine/pairings/declare/", status=422, species=GECKO, season="2026", sire="het ashwatr"
    )
    assert "'ashwatr'" in page.text
    assert "The field is missing" in page.text
    assert page.fields["sire"] == "het ashwatr"


def test_report__needs_a_keeper_and_comes_back():
    browser = Browser()
    response = browser.client.get("/report/", {"sire": "het ashwater"})
    assert response.status_code == 303
    assert response.headers["Location"] == "/sign-in/?next=%2Freport%2F%3Fsire%3Dhet%2Bashwater"
    for path in ("/mine/", "/mine/pairings/", "/account/", "/mine/duplicates/"):
        assert browser.client.get(path).status_code == 303, path
    assert browser.client.post("/report/", TYPED).status_code == 303
    assert not Draft.objects.exists()


def test_report__counts_towards_the_day(settings):
    settings.BROODCOUNT_RATE_LIMITS = True
    settings.BROODCOUNT_DAILY_CLUTCHES = 1
    browser = keeper_browser()
    second = browser.sent("/report/", **TYPED | {"season": "2024"})
    state = browser.get(second).fields["state"]
    handed_in(browser, browser.sent("/report/", **TYPED))
    for page in (
        browser.get(second),
        browser.post(second, status=429, act="hand-in", state=state),
    ):
        assert "can not be handed in today: At most 1 clutch from one keeper a day" in page.text
        assert "1 of 5 hatchlings can not come from these parents" in page.text
        assert "Hand it in" not in page.text
    assert Clutch.objects.count() == 1
    settings.BROODCOUNT_DAILY_CLUTCHES = 2
    handed_in(browser, second)
    assert Clutch.objects.count() == 2


def test_pages__are_counted_as_calls(settings):
    settings.BROODCOUNT_RATE_LIMITS = True
    settings.BROODCOUNT_RATE_ANONYMOUS = 2
    browser = Browser()
    browser.get("/")
    browser.get("/watch/")
    page = browser.get("/", status=429)
    assert "2 pages and calls are answered" in page.text
    assert page.response.headers["Retry-After"]
    assert Api().send("get", "species/").status_code == 429


def test_hand_in__of_a_draft_that_was_changed_meanwhile_reports_nothing():
    browser = keeper_browser()
    browser.sent("/report/", **TYPED)
    seen = Draft.objects.get()
    Draft.objects.update(typed=TYPED | {"dam": "normal"})
    caller = Caller(is_keeper=True, name=str(browser.api.keeper))
    given = checked(ClutchInSerializer, clutch(season=2025))
    with pytest.raises(PreconditionFailedError, match="in another window"):
        draft_hand_in(Keeper.objects.get(), seen, given, caller)
    assert not Clutch.objects.exists()
    assert Draft.objects.get().typed["dam"] == "normal"
