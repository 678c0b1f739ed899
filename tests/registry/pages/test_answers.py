"""The answer on a page: the same numbers as the interface, every picture with its table."""

from __future__ import annotations

import random
from typing import Any
from urllib.parse import quote

import pytest

from registry.catalogue.bridge import names_written
from registry.catalogue.selectors import names_elsewhere, species_loaded
from registry.clutches.services.reporting import clutch_report
from registry.combinations.bridge.community import community_clutches
from registry.keepers.services import keeper_join
from registry.pages.choices import KEEPER_COOKIE
from registry.pages.views.ask import corrected
from registry.pools.models import PooledTarget
from tests.factories.pages import Browser, Page
from tests.factories.registry import GECKO, Api, clutch, gecko, joined, parent

pytestmark = pytest.mark.django_db

SHORT = f"/combinations/{GECKO}/Ashwater%20Quillback/"


@pytest.fixture
def community() -> list[dict[str, Any]]:
    """Sixty clutches of eight keepers, with an incompatible pair and a look-alike."""
    gecko()
    loaded = species_loaded(GECKO)
    keepers = [keeper_join().keeper for _ in range(8)]
    bodies = []
    for number, body in community_clutches(
        loaded, names_elsewhere(GECKO), n_keepers=8, n_clutches=60, seed=8, last_season=2025
    ):
        clutch_report(keepers[number], body)
        bodies.append(body)
    return bodies


def numbers_of(answer: dict[str, Any]) -> dict[str, Any]:
    """What the page has to carry, by its place in the answer of the interface."""
    found = {
        f"{part}.{name}": value
        for part in ("produced", "tried")
        for name, value in answer[part].items()
        if name != "answer"
    }
    found |= {
        f"evidence.{name}": value
        for name, value in answer["evidence"].items()
        if name not in {"sentence", "specific"}
    }
    if answer["evidence"]["more_hatchlings_to_signal"] is None:
        del found["evidence.more_hatchlings_to_signal"]
    if answer["recovery"]:
        found |= {f"recovery.{name}": answer["recovery"][name] for name in _RATIO}
    found |= {f"explanations.{one['name']}": one["probability"] for one in answer["explanations"]}
    return found | {"method.pool": answer["method"]["pool"]}


_RATIO = ("low", "estimate", "high")


def test_answers__have_the_numbers_of_the_interface_for_200_combinations(community):
    chosen = random.Random(20261125)
    names = names_written(species_loaded(GECKO))
    browser, api = Browser(), Api()
    asked: set[str] = set()
    states = set()
    while len(asked) < 200:
        text = " ".join(chosen.sample(names, chosen.randint(1, 3)))
        answer = api.send("get", f"combinations/{GECKO}/{quote(text)}/")
        page = browser.client.get(f"/combinations/{GECKO}/{quote(text)}/")
        assert page.status_code == answer.status_code, text
        if answer.status_code != 200 or text in asked:
            continue
        asked.add(text)
        said = answer.json()
        shown = Page(page)
        assert shown.numbers == numbers_of(said), text
        states.add(said["state"])
        for one in said["explanations"]:
            assert one["sentence"] in shown.text
        for one in said["cautions"]:
            assert one["text"] in shown.text
            assert one["source"] in shown.text
        if said["advice"]:
            assert said["advice"] in shown.text
        assert said["evidence"]["sentence"] in shown.text
    assert states == {"no-reports", "too-early", "as-expected", "watch", "flagged"}


def test_answer__says_yes_not_yet_or_uncertain(community):
    browser = Browser()
    assert "Not yet. None hatched where" in browser.get(SHORT).text
    assert "Yes. " in browser.get(f"/combinations/{GECKO}/Ashwater/").text
    nobody = browser.get(f"/combinations/{GECKO}/Dewline%20Bogcoat/")
    assert "no clutch that could have shown it was reported" in nobody.text
    assert f"/report/?species={GECKO}" in nobody.links
    assert "Report that clutch" in nobody.text
    # Nobody is asked for clutches of what hurts animals.
    harmful = browser.get(f"/combinations/{GECKO}/Bogcoat%20Copperlatch/")
    assert harmful.numbers["tried.clutches"] == 0
    assert "Report that clutch" not in harmful.text
    api = joined()
    api.post(
        "clutches/",
        clutch("het dewline", "dewline", [{"call": "dewline", "count": 1, "or": ["normal"]}]),
    )
    unsure = browser.get(f"/combinations/{GECKO}/Dewline/")
    assert "Uncertain. 1 may be it, not surely" in unsure.text


def test_answer__tells_fewer_than_three_and_nothing_more():
    gecko()
    joined().post("clutches/", clutch())
    page = Browser().get(f"/combinations/{GECKO}/Ashwater/")
    assert "fewer than 3 keepers" in page.text
    assert page.numbers["tried.keepers"] is None
    assert page.numbers["produced.first_season"] is None
    assert not any("over-time" in one for one in [*page.links, *page.resources])
    history = Browser().get(f"/combinations/{GECKO}/Ashwater/over-time/")
    assert "Fewer than three keepers" in history.text


def test_over_time__has_picture_and_table_of_the_same_history(community):
    browser = Browser()
    page = browser.get(SHORT)
    assert any("over-time.svg" in one for one in page.resources)
    history = Api().get(f"combinations/{GECKO}/Ashwater Quillback/history/")
    shown = browser.get(f"{SHORT}over-time/").response.content.decode()
    assert shown.count("<tr>") == len(history["points"]) + 1
    for point in history["points"]:
        assert f'value="{point["e_value"]!r}"' in shown
    for query in ({}, {"shade": "dark"}, {"size": "narrow"}, {"source": "published"}):
        picture = browser.client.get(f"{SHORT}over-time.svg", query)
        assert picture.status_code == 200
        assert picture.headers["Content-Type"] == "image/svg+xml"
        assert b"style=" not in picture.content
        drawn = b"<polyline" in picture.content
        assert drawn is (query.get("source") != "published")


def test_answer__fetches_no_picture_unasked_that_takes_long(community, monkeypatch):
    n_clutches = Api().combination("Ashwater Quillback")["tried"]["clutches"]
    monkeypatch.setattr("registry.pages.views.ask.MOST_DRAWN_UNASKED", n_clutches)
    assert any("over-time.svg" in one for one in Browser().get(SHORT).resources)
    monkeypatch.setattr("registry.pages.views.ask.MOST_DRAWN_UNASKED", n_clutches - 1)
    page = Browser().get(SHORT)
    assert not any("over-time.svg" in one for one in page.resources)
    assert f"{SHORT}over-time/?source=keepers" in page.links
    assert f"after each of {n_clutches} clutches" in page.text


def test_answer__weighs_at_most_150_kb_with_everything(community):
    browser = Browser()
    page = browser.get(SHORT)
    weight = len(page.response.content)
    for address in page.resources:
        response = browser.client.get(address)
        assert response.status_code == 200, address
        weight += len(response.getvalue())
    assert len(page.resources) >= 4
    assert weight <= 150_000


def test_pages__set_no_cookie_on_whoever_only_asks(community):
    browser = Browser()
    for path in ("/", SHORT, "/watch/", "/forecast/"):
        assert not browser.client.get(path).cookies, path
    assert KEEPER_COOKIE not in browser.client.cookies


# --- asking ---------------------------------------------------------------------------------------


def test_ask__goes_on_to_the_canonical_combination():
    gecko()
    response = Browser().client.get("/", {"species": GECKO, "combination": "quillback ASHEN-WATER"})
    assert response.status_code == 303
    assert response.headers["Location"] == SHORT


def test_ask__offers_the_corrected_text():
    gecko()
    page = Browser().get("/", status=422, species=GECKO, combination="ashwater quilback")
    assert "'quilback' is no known gene" in page.text
    assert f"/?species={GECKO}&combination=ashwater%20Quillback" in page.links
    assert page.fields["combination"] == "ashwater quilback"


@pytest.mark.parametrize(
    ("query", "told"),
    [
        ({"combination": "ashwater"}, "Choose the species"),
        ({"combination": "ashwater", "species": "mars"}, "no species 'mars'"),
        ({"combination": "het ashwater", "species": GECKO}, "het"),
        (
            {"combination": "ashwater quillback tidemark dewline", "species": GECKO},
            "three",
        ),
    ],
)
def test_ask__tells_what_is_wrong_at_its_field(query, told):
    gecko()
    assert told in Browser().get("/", status=422, **query).text


@pytest.mark.parametrize(
    ("text", "word", "name", "expected"),
    [
        ("ashwater quilback", "quilback", "Quillback", "ashwater Quillback"),
        ("Pale-Red het x", "pale red", "Pale Reed", "Pale Reed het x"),
        ("ashwater", "elsewhere", "Quillback", "Quillback"),
        ("ashwater", None, "Quillback", "Quillback"),
        ("a.b ashwater", "a.b", r"C\1", r"C\1 ashwater"),
    ],
)
def test_corrected__replaces_the_word(text, word, name, expected):
    assert corrected(text, word, name) == expected


# --- the board ------------------------------------------------------------------------------------


def test_watch__shows_what_the_interface_lists(community):
    listed = Api().get("flags/", species=GECKO)["results"]
    page = Browser().get("/watch/", species=GECKO)
    assert listed
    places = [page.text.index(one["reason"]) for one in listed]
    assert places == sorted(places)
    assert f"/api/v1/feeds/flags/{GECKO}.atom" in page.links
    assert "Invented." in page.text
    only = Browser().get("/watch/", species=GECKO, state="flagged")
    shown = [one for one in listed if one["reason"] in only.text]
    assert shown == [one for one in listed if one["state"] == "flagged"]


def test_watch__tells_an_empty_board_and_wrong_filters():
    gecko()
    browser = Browser()
    assert "Nothing is flagged or on watch" in browser.get("/watch/").text
    assert "Nothing that fits" in browser.get("/watch/", species=GECKO, gene="ashwater").text
    wrong = browser.get("/watch/", status=422, species=GECKO, gene="zzz")
    assert "zzz" in wrong.text
    assert "no species" in browser.get("/watch/", status=422, species="mars").text


def test_answer__counts_uncertain_calls_at_both_ends():
    gecko()
    for _ in range(3):
        joined().post(
            "clutches/",
            clutch(
                parent("het ashwater", "s"),
                "ashwater",
                [
                    {"call": "ashwater", "count": 2},
                    {"call": "normal", "count": 1, "or": ["ashwater"]},
                ],
            ),
        )
    page = Browser().get(f"/combinations/{GECKO}/Ashwater/")
    assert page.numbers["produced.hatchlings"] == 6
    assert page.numbers["produced.hatchlings_if_uncertain_count"] == 9
    assert "6 to 9" in page.text
    assert "unsure" in page.response.content.decode()


# --- what is asked amiss --------------------------------------------------------------------------


@pytest.mark.parametrize("path", [SHORT, f"{SHORT}over-time/", f"{SHORT}over-time.svg"])
def test_answer__refuses_a_source_that_is_none_as_the_interface_does(path):
    gecko()
    page = Browser().client.get(path, {"source": "publshed"})
    problem = Api().refused(
        "get", f"combinations/{GECKO}/Ashwater Quillback/", query={"source": "publshed"}
    )
    assert page.status_code == problem["status"]
    assert problem["errors"][0]["detail"] in Page(page).text


@pytest.mark.parametrize(
    ("query", "told"),
    [
        ({"state": "flaged"}, "Read 'flaged', expected flagged"),
        ({"source": "mine"}, "Read 'mine', expected keepers"),
        ({"cursor": "made-up"}, "The cursor was not given out by this list"),
    ],
)
def test_watch__tells_every_filter_that_it_can_not_read(query, told):
    gecko()
    page = Browser().get("/watch/", status=422, species=GECKO, **query)
    assert told in page.text
    assert "nothing was stored" not in page.text


def test_ask__shows_the_strongest_of_the_board(community):
    listed = Api().get("flags/")["results"][:5]
    page = Browser().get("/")
    assert listed
    places = [
        page.links.index(f"/combinations/{GECKO}/{quote(one['combination'])}/") for one in listed
    ]
    assert places == sorted(places)
    first = listed[0]
    assert f"{first['produced']['hatchlings']} hatched where" in page.text
    assert "(invented)" in page.text


def test_pages__say_that_reports_are_still_worked_in(community, monkeypatch):
    monkeypatch.setattr("registry.pools.services.MOST_WORK", 0)
    browser = Browser()
    for path in (SHORT, "/watch/"):
        response = browser.client.get(path)
        assert response.status_code == 503, path
        assert response.headers["Retry-After"] == "1"
        assert "not all of them are worked in yet" in Page(response).text
    # One can ask all the same: nothing is looked up for it.
    page = browser.get("/")
    assert "Strongest on the watch board" not in page.text
    assert "combination" in page.fields


def test_watch__has_500_rows_page_by_page(community):
    Api().get("flags/", species=GECKO)  # assesses what was reported
    flagged = PooledTarget.objects.get(combination="Ashwater Quillback", source="keepers")
    PooledTarget.objects.bulk_create(
        PooledTarget(
            **{
                one.attname: getattr(flagged, one.attname)
                for one in PooledTarget._meta.concrete_fields
                if one.name not in {"id", "key", "combination", "log10_e_value"}
            },
            key=f"{flagged.key}#{number}",
            combination=f"Made-up {number:03}",
            log10_e_value=1.5,
        )
        for number in range(500)
    )
    browser = Browser()
    shown: list[str] = []
    address: str | None = f"/watch/?species={GECKO}"
    while address:
        page = Page(browser.client.get(address))
        assert page.status == 200
        shown += [one for one in page.links if one.startswith("/combinations/")]
        address = page.related.get("next")
    listed = [one for rows in Api().pages("flags/", species=GECKO) for one in rows]
    assert len(listed) >= 500
    assert shown == [f"/combinations/{GECKO}/{quote(one['combination'])}/" for one in listed]
    assert "prev" in page.related
