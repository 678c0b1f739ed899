"""Forecast, clutch in hand and suggestions: the interface's answers on pages."""

from __future__ import annotations

import re
from html import unescape
from urllib.parse import quote

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from registry.clutches.models import Clutch, Draft
from registry.clutches.services.checks import TOGETHER_IMPOSSIBLE
from registry.keepers.models import Keeper
from registry.keepers.selectors import today
from tests.factories.pages import Browser, keeper_browser
from tests.factories.registry import GECKO, Api, gecko, joined, statements

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _species():
    gecko()


FORECAST = {
    "species": GECKO,
    "sire": "tidemark het ashwater brackish",
    "dam": "66% het ashwater tidemark",
    "clutch_size": "7",
    "wanted": "ashwater tidemark\nfloodmark",
}


def test_forecast__shows_the_answer_of_the_interface():
    page = Browser().get("/forecast/", **FORECAST)
    answer = Api().post(
        "forecasts/",
        {
            "species": GECKO,
            "sire": {"genes": FORECAST["sire"]},
            "dam": {"genes": FORECAST["dam"]},
            "clutch_size": 7,
            "wanted": ["ashwater tidemark", "floodmark"],
        },
    )
    assert len(answer["looks"]) == 12
    for one in answer["looks"]:
        assert f"{one['look']} {one['fraction']}" in page.text
        for hidden in one["hidden"]:
            assert hidden["text"] in page.text
        asked = f"/combinations/{GECKO}/{quote(one['look'])}/"
        assert (asked in page.links) is (one["look"] != "Normal"), asked
    assert all(Browser().get(link) for link in page.links if link.startswith("/combinations/"))
    wished, flood = answer["wanted"]
    assert f"{wished['combination']} {wished['fraction']}" in page.text
    assert wished["hatchlings_for"]["99"] is None
    assert "never" in page.text
    assert f" {flood['hatchlings_for']['95']} " in page.text
    assert "a chance of 66.7 %" in page.text


def test_forecast__folds_many_looks():
    many = "het ashwater het reed het quillback tidemark brackish"
    page = Browser().get("/forecast/", species=GECKO, sire=many, dam=many)
    assert "52 rarer looks" in page.text
    links = [one for one in page.links if one.startswith("/combinations/")]
    assert f"/combinations/{GECKO}/Ashwater%20Pale%20Reed%20Quillback/" in links
    # Four genes are not pooled, a normal look has none.
    assert not any("Quillback%20Tidemark%20Brackish" in one for one in links if "Ashwater" in one)
    assert len(links) == 51


def test_forecast__tells_what_these_parents_can_not_give():
    page = Browser().get("/forecast/", **FORECAST | {"wanted": "quillback"})
    assert "Quillback: these parents can not give it" in page.text
    assert "never" in page.text


def test_forecast__costs_the_same_for_many_looks():
    counts = []
    for genes in ("tidemark", "het ashwater het reed het quillback tidemark brackish"):
        Browser().get("/forecast/", species=GECKO, sire=genes, dam=genes)
        with CaptureQueriesContext(connection) as captured:
            Browser().get("/forecast/", species=GECKO, sire=genes, dam=genes)
        counts.append(len(statements(captured)))
    assert counts[0] == counts[1]


def test_forecast__shows_cautions_first():
    species = Api().get(f"species/{GECKO}/genes/")["results"]
    risky = [one for one in species if one["cautions"]]
    assert risky
    name = risky[0]["name"]
    page = Browser().get("/forecast/", species=GECKO, sire=name, dam=name)
    text = page.text
    assert risky[0]["cautions"][0]["text"] in text
    assert "veterinarian" in text
    assert text.index(risky[0]["cautions"][0]["text"]) < text.index("Read as")


def test_forecast__tells_faults_at_their_fields():
    wrong = FORECAST | {"sire": "tidemrk", "clutch_size": "many", "wanted": "floodmark\nzzz"}
    page = Browser().get("/forecast/", status=422, **wrong)
    assert "'tidemrk'" in page.text
    assert "Line 2: 'zzz'" in page.text
    assert page.fields["clutch_size"] == "many"
    assert "The field is missing" in Browser().get("/forecast/", status=422, sire="normal").text
    assert "Read as" not in Browser().get("/forecast/").text


CHECKED = {
    "species": GECKO,
    "sire": "tidemark 66% het reed",
    "dam": "pale reed",
    "hatchlings": "3 tidemark\n1 normal\n1 normal or reed\n1 copperlatch",
}


def test_check__shows_the_answer_of_the_interface_and_stores_nothing():
    page = Browser().post("/clutch-in-hand/", **CHECKED)
    answer = Api().post(
        "clutch-checks/",
        {
            "species": GECKO,
            "sire": {"genes": CHECKED["sire"]},
            "dam": {"genes": CHECKED["dam"]},
            "hatchlings": [
                {"call": "tidemark", "count": 3},
                {"call": "normal", "count": 1},
                {"call": "normal", "count": 1, "or": ["reed"]},
                {"call": "copperlatch", "count": 1},
            ],
        },
    )
    assert answer["surprise"]["sentence"] in page.text
    assert answer["not_possible"][0]["reason"] in page.text
    for one in answer["parents"]:
        assert one["sentence"] in page.text
    for one in answer["missed"][:10]:
        assert f"{one['combination']} : {one['fraction']}" in page.text
        for reason in one["explanations"][:3]:
            assert f": {reason['sentence']}" in page.text
    assert not Clutch.objects.exists()
    assert page.fields["hatchlings"].split() == CHECKED["hatchlings"].split()


def test_check__carries_what_was_typed_over_to_a_report():
    page = Browser().post("/clutch-in-hand/", laid="9", **CHECKED)
    assert "Report this clutch" in page.text
    report = keeper_browser().get("/report/", laid="9", **CHECKED)
    assert {
        name: report.fields[name].strip() for name in ("sire", "dam", "laid", "hatchlings")
    } == {name: text for name, text in (CHECKED | {"laid": "9"}).items() if name != "species"}


LONG = CHECKED | {"hatchlings": "\n".join(["1 tidemark or normal or tidemark pale reed"] * 100)}


def report_form(page):
    """Method and fields of the form that goes on from a clutch in hand to its report."""
    html = page.response.content.decode()
    found = re.search(r'<form method="(\w+)" action="/report/".*?</form>', html, re.DOTALL)
    hidden = re.compile(r'<input type="hidden" name="(\w+)" value="([^"]*)"')
    return found and (found[1], {name: unescape(text) for name, text in hidden.findall(found[0])})


def words(typed):
    return {name: text.split() for name, text in typed.items()}


def test_check__of_a_keeper_goes_on_to_a_report_however_long_it_is():
    browser = keeper_browser()
    method, fields = report_form(browser.post("/clutch-in-hand/", **LONG))
    assert method == "post"
    report = browser.post("/report/", **fields)
    assert words({name: report.fields[name] for name in LONG if name != "species"}) == words(
        {name: text for name, text in LONG.items() if name != "species"}
    )
    assert report.fields["season"] == str(today().year)
    assert not Draft.objects.exists()
    assert not Clutch.objects.exists()


@pytest.mark.parametrize("clutch", [CHECKED, LONG])
def test_check__of_a_stranger_goes_on_through_signing_in_however_long_it_is(clutch):
    browser, token = Browser(), str(joined().token)
    method, fields = report_form(browser.post("/clutch-in-hand/", **clutch))
    assert method == "post"
    signing = browser.post("/report/", **fields)
    assert "The clutch you typed comes along" in signing.text
    wrong = browser.post("/sign-in/", status=422, **(signing.fields | {"token": "bck_wrong"}))
    sent = wrong.fields | {"token": token}
    assert words({name: sent[name] for name in clutch}) == words(clutch)
    answer = browser.client.post("/sign-in/", sent)
    # A browser sends the same form again to where a 307 leads (RFC 9110, 15.4.8).
    assert (answer.status_code, answer.headers["Location"]) == (307, "/report/")
    report = browser.post("/report/", **sent)
    assert words({"all": report.fields["hatchlings"]}) == words({"all": clutch["hatchlings"]})
    assert token not in report.response.content.decode()
    assert not Draft.objects.exists()


@pytest.mark.parametrize("way", ["/join/", "/recover/"])
def test_check__of_a_stranger_comes_along_through_joining_and_coming_back(way):
    browser = Browser()
    _method, fields = report_form(browser.post("/clutch-in-hand/", **LONG))
    browser.post("/report/", **fields)
    keeper = Api().post("keepers/", {})
    n_keepers = Keeper.objects.count()
    asked = browser.post(way, **fields)
    assert Keeper.objects.count() == n_keepers
    assert "bck_" not in asked.text
    made = browser.post(way, **(asked.fields | {"code": keeper["recovery_code"]}))
    assert Keeper.objects.count() == n_keepers + (way == "/join/")
    report = browser.post("/report/", **made.fields)
    assert words({"all": report.fields["hatchlings"]}) == words({"all": LONG["hatchlings"]})
    assert "Look it over" in report.text


def test_check__tells_faults_of_parents_and_hatchlings_at_once():
    wrong = CHECKED | {"sire": "quillbak", "hatchlings": "2 ashwatr\n1 normal"}
    page = Browser().post("/clutch-in-hand/", status=422, **wrong)
    assert "'quillbak'" in page.text
    assert "'ashwatr'" in page.text


def test_check__of_calls_that_are_possible_one_by_one_only():
    # The sire would need two genes of one series and none of it, and has two places for them.
    page = Browser().post(
        "/clutch-in-hand/",
        species=GECKO,
        sire="50% het peatcoat, 50% het turfcoat",
        dam="bogcoat",
        hatchlings="1 peatcoat\n1 turfcoat\n1 normal",
    )
    assert TOGETHER_IMPOSSIBLE in page.text
    assert "Not possible" not in page.response.content.decode()
    assert "(not from these parents)" not in page.text


def test_check__folds_all_but_the_most_surprising():
    many = "het ashwater het reed het quillback tidemark"
    page = Browser().post(
        "/clutch-in-hand/", species=GECKO, sire=many, dam=many, hatchlings="9 normal"
    )
    each = "is without one with a chance of"
    before, _folded, after = page.text.partition("The others that were possible and not seen")
    assert before.count(each) == 10
    assert after.count(each) > 0


def test_check__tells_faults_and_missing_parents():
    page = Browser().post("/clutch-in-hand/", status=422, species=GECKO, hatchlings="normal")
    assert page.text.count("The field is missing") == 2
    assert "stored" not in page.text.partition("need another look")[2].partition("Species")[0]
    assert "begins with no count" in page.text


def offered(text: str, species: str = GECKO) -> list[str]:
    answer = Browser().client.get("/suggestions/", {"species": species, "text": text})
    assert answer.status_code == 200
    found: list[str] = answer.json()["suggestions"]
    return found


@pytest.mark.parametrize(
    ("text", "first"),
    [
        ("ASHWATER qu", "ASHWATER Quillback"),
        ("het ashen w", "het Ashen Water"),
        ("66% het pale-r", "66% het Pale Reed"),
        ("reed, tide", "reed, Tidemark"),
        ("qilback", "Quillback"),
        ("nightf", "Nightferry"),
    ],
)
def test_suggestions__complete_the_last_words(text, first):
    assert offered(text)[0] == first


@pytest.mark.parametrize("text", ["", "  ", "ashwater ", ",", "zzzzzz", "x" * 400, "\u00e4\u00f6"])
def test_suggestions__offer_nothing_where_nothing_fits(text):
    assert offered(text) == []


def test_suggestions__are_read_as_they_are_offered():
    for letter in "abcdefghijklmnopqrstuvwxyz":
        for one in offered(letter):
            answer = Api().send("post", "notation/", {"species": GECKO, "text": one})
            assert answer.status_code == 200, one
        assert len(offered(letter)) <= 8


def test_suggestions__cost_one_statement_and_know_their_species():
    offered("a")
    with CaptureQueriesContext(connection) as captured:
        offered("t")
    assert len(statements(captured)) == 1
    wrong = Browser().client.get("/suggestions/", {"species": "mars", "text": "a"})
    assert wrong.status_code == 400


def test_page_that_is_not_there__is_told_without_the_list_of_calls():
    page = Browser().get("/nosuchpage/", status=404)
    assert "Nothing is found at /nosuchpage/." in page.text
    assert "openapi.json" not in page.text
    told = Browser().client.get("/api/v1/nosuchcall/").json()["detail"]
    assert "All calls are listed in /api/v1/openapi.json." in told
