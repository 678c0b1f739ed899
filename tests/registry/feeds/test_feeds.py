"""Feeds of state changes: what is told, when, and that it is Atom."""

from __future__ import annotations

import re
import threading
from datetime import UTC, date, datetime
from uuid import UUID
from xml.etree import ElementTree as ET

import pytest
import time_machine
from django.core.management import CommandError, call_command
from django.db import connections

from registry.catalogue.services import catalogue_load
from registry.feeds.models import StateChange
from registry.feeds.services import states_record
from tests.factories.evidence import Brood, report
from tests.factories.registry import FIXTURES, GECKO, Api, clutch, gecko, joined, parent

pytestmark = pytest.mark.django_db

ATOM = "{http://www.w3.org/2005/Atom}"
ALL = "feeds/flags.atom"
FLAGS = f"feeds/flags/{GECKO}.atom"
PAIR = f"feeds/combinations/{GECKO}/ashwater quillback.atom"


@pytest.fixture(autouse=True)
def _species():
    gecko()


def checked(content: bytes) -> ET.Element:
    """A feed, after checking what RFC 4287 requires (sections 4.1.1, 4.1.2, 4.2.6, 4.2.7, 3.3)."""
    feed = ET.fromstring(content)
    assert feed.tag == f"{ATOM}feed"
    entries = feed.findall(f"{ATOM}entry")
    for one in (feed, *entries):
        for name in ("id", "title", "updated"):
            assert len(one.findall(f"{ATOM}{name}")) == 1, name
            assert said(one, name)
        assert re.fullmatch(r"urn:uuid:[0-9a-f-]{36}", said(one, "id"))
        assert datetime.fromisoformat(said(one, "updated")).tzinfo
        assert len(one.findall(f"{ATOM}summary")) <= 1
        relations = [link.get("rel") for link in one.findall(f"{ATOM}link")]
        assert relations == (["self"] if one is feed else ["alternate"])
    assert feed.find(f"{ATOM}author/{ATOM}name") is not None
    ids = [said(one, "id") for one in (feed, *entries)]
    assert len(set(ids)) == len(ids)
    return feed


def said(one: ET.Element, name: str) -> str:
    return one.findtext(f"{ATOM}{name}") or ""


def entries(path: str) -> list[tuple[str, str]]:
    """Title and summary of the entries of a feed, newest first."""
    feed = checked(Api().read(path))
    return [(said(one, "title"), said(one, "summary")) for one in feed.findall(f"{ATOM}entry")]


def titles(path: str) -> list[str]:
    return [title for title, _text in entries(path)]


def short(number: int = 0) -> dict:
    """A clutch in which a quarter should show both genes, and none does."""
    sire = parent("ashwater het quillback", f"m-{number}")
    return clutch(sire, "quillback het ashwater", {"normal": 12, "ashwater": 12, "quillback": 12})


def test_feed__that_is_cut_is_noticed():
    content = Api().read(FLAGS)
    for changed in (
        content[:-7],
        content.replace(b"<id>", b"<key>").replace(b"</id>", b"</key>"),
        content.replace(b"urn:uuid:", b""),
        re.sub(rb"<author>.*</author>", b"", content),
        content.replace(b"2005/Atom", b"2003/Atom"),
    ):
        assert changed != content
        with pytest.raises((AssertionError, ET.ParseError)):
            checked(changed)


def test_feed__of_what_nobody_reported_is_valid_and_empty():
    for path in (ALL, FLAGS, PAIR):
        first, again = Api().read(path), Api().read(path)
        assert first == again
        assert titles(path) == []
    assert StateChange.objects.count() == 0


def test_feed__tells_what_a_shortage_comes_from():
    """Both genes are on watch as well, by the pair alone: each would hatch without the other."""
    lethal = Brood(
        "2 Ashwater, Pale Reed",
        "Ashwater, 2 Pale Reed",
        {"": 10, "Ashwater": 10, "Pale Reed": 10},
        died=9,
    )
    ordinary = Brood("Ashwater", "Ashwater", {"": 12, "Ashwater": 4})
    for _ in range(3):
        report(joined(), lethal, lethal, ordinary)
    told = dict(entries(FLAGS))
    assert set(told) == {"Ashwater Pale Reed: flagged", "Ashwater: on watch", "Pale Reed: on watch"}
    for title, text in told.items():
        from_pair = "comes from Ashwater Pale Reed, which never hatches; beyond that" in text
        assert from_pair is (title != "Ashwater Pale Reed: flagged")
    assert entries(ALL) == entries(FLAGS)


def test_feed__tells_watch_then_flag_then_that_it_is_over():
    joined().post("clutches/", short())
    assert titles(FLAGS) == titles(PAIR) == ["Ashwater Quillback: on watch"]
    ((_title, text),) = entries(PAIR)
    assert text.startswith(
        "Nobody had reported a clutch that could have shown it. Today: 0 hatched where 9 were "
        "expected among 36 hatchlings. The evidence of a shortage is "
    )
    assert "no reason to repeat a pairing in order to find out" in text
    for _ in range(2):
        joined().post("clutches/", short())
    assert titles(PAIR) == ["Ashwater Quillback: flagged", "Ashwater Quillback: on watch"]
    flagged, watched = entries(PAIR)
    assert {flagged, watched} <= set(entries(FLAGS))
    assert "27 were expected among 108 hatchlings" in flagged[1]
    assert watched[1].startswith("Nobody had reported")
    assert "expected" not in watched[1]  # the numbers of today belong to the newest change
    hits = clutch("ashwater het quillback", "quillback het ashwater", {"ashwater quillback": 40})
    keeper = joined()
    for _ in range(3):
        keeper.post("clutches/", hits)
    assert titles(PAIR)[0] == "Ashwater Quillback: as expected"
    assert titles(FLAGS) == titles(ALL)
    assert set(titles(PAIR)) <= set(titles(FLAGS))
    assert entries(PAIR)[0][1].startswith("It was flagged. Today: 120 hatched where 57 were")


def test_feed_of_flags__leaves_out_what_never_came_on_watch():
    joined().post("clutches/", clutch())
    assert titles(FLAGS) == titles(ALL) == []
    assert titles(f"feeds/combinations/{GECKO}/ashwater.atom") == ["Ashwater: too early to tell"]


def test_feed__of_another_species_is_apart():
    catalogue_load(FIXTURES / "catalogue" / "corn-snake.json")
    joined().post("clutches/", short())
    assert titles("feeds/flags/corn-snake.atom") == []
    assert titles(ALL) == titles(FLAGS) == ["Ashwater Quillback: on watch"]
    ids = {said(checked(Api().read(one)), "id") for one in (ALL, FLAGS, PAIR)}
    assert len(ids) == 3


def test_feed__tells_that_reports_were_taken_back_and_keeps_no_count_of_them():
    keeper = joined()
    done = keeper.post("clutches/", short())
    titles(PAIR)
    keeper.delete(f"clutches/{done['id']}/")
    assert titles(PAIR) == [
        "Ashwater Quillback: no reports any more",
        "Ashwater Quillback: on watch",
    ]
    text = Api().read(PAIR).decode()
    assert "were expected" not in text
    assert "was taken back" in text
    held = {one.name for one in StateChange._meta.get_fields()}
    assert held == {
        "id",
        "public_id",
        "species",
        "source",
        "key",
        "combination",
        "factors",
        "before",
        "after",
        "recorded_on",
    }


def test_feed__shows_cautions_with_their_source():
    for number in range(3):
        sire = parent("copperlatch tidemark", f"m-{number}")
        body = clutch(sire, "tidemark", {"normal": 10, "tidemark": 20, "copperlatch": 10})
        joined().post("clutches/", body)
    text = dict(entries(f"feeds/combinations/{GECKO}/copperlatch super tidemark.atom"))
    (told,) = [one for title, one in text.items() if "Copperlatch" in title]
    assert "Caution (Copperlatch + two copies of Tidemark): Invented caution" in told
    assert "Source: invented for demonstration." in told


def test_entry__links_to_the_answer():
    joined().post("clutches/", short())
    (link,) = checked(Api().read(PAIR)).findall(f"{ATOM}entry/{ATOM}link")
    assert link.get("type") == "application/json"
    answer = Api().get((link.get("href") or "").removeprefix("http://testserver"))
    assert (answer["combination"], answer["state"]) == ("Ashwater Quillback", "watch")


def test_times__are_days_and_ids_stay():
    with time_machine.travel("2026-11-25T17:23:42Z"):
        joined().post("clutches/", short())
        first = checked(Api().read(PAIR))
    with time_machine.travel("2026-11-27T03:04:05Z"):
        again = checked(Api().read(PAIR))
        assert ET.tostring(first) == ET.tostring(again)
        for _ in range(2):
            joined().post("clutches/", short())
        feed = checked(Api().read(PAIR))
    times = [said(one, "updated") for one in (feed, *feed.findall(f"{ATOM}entry"))]
    assert times == ["2026-11-27T00:00:00+00:00"] * 2 + ["2026-11-25T00:00:00+00:00"]
    old = feed.findall(f"{ATOM}entry")[1]
    assert said(old, "id") == said(first.findall(f"{ATOM}entry")[0], "id")
    assert UUID(said(old, "id").removeprefix("urn:uuid:")).version == 4


def test_feed__has_a_tag_and_304_for_it_and_no_cookie():
    joined().post("clutches/", short())
    for path in (ALL, FLAGS, PAIR):
        first = Api().send("get", path)
        tag = first.headers["ETag"]
        again = Api().send("get", path, headers={"If-None-Match": tag})
        assert (again.status_code, again.content) == (304, b"")
        assert first.headers["Content-Type"] == "application/atom+xml; charset=utf-8"
        assert not first.cookies
        assert "Set-Cookie" not in first.headers
        assert first.getvalue() == Api().read(path)
    joined().post("clutches/", short())
    assert Api().send("get", PAIR, headers={"If-None-Match": tag}).status_code == 200


def test_feed__has_the_newest_fifty():
    states = ("watch", "as-expected")
    common = {"species_id": GECKO, "key": "k", "combination": "Ashwater"}
    for n in range(60):
        StateChange.objects.create(
            **common,
            factors=[["ml-ashwater", "Ashwater", "Ashwater"]],
            before=states[n % 2],
            after=states[(n + 1) % 2],
            recorded_on=date(2025, 1, 1) if n < 10 else date(2025, 2, 1),
        )
    feed = checked(Api().read(FLAGS))
    days = [said(one, "updated")[:10] for one in feed.findall(f"{ATOM}entry")]
    assert days == ["2025-02-01"] * 50


@pytest.mark.parametrize(
    ("path", "status", "code"),
    [
        ("feeds/flags/no-such-gecko.atom", 404, "not-found"),
        ("feeds/combinations/no-such-gecko/ashwater.atom", 404, "not-found"),
        (f"feeds/combinations/{GECKO}/quilback.atom", 400, "unknown-gene"),
        (f"feeds/combinations/{GECKO}/het ashwater.atom", 400, "not-visible"),
        ("feeds/flags.atom?since=2025", 400, "unknown-parameter"),
    ],
)
def test_feed__refuses_what_the_answer_refuses(path, status, code):
    problem = Api().refused("get", path)
    assert (problem["status"], problem["code"]) == (status, code)


def test_states__are_recorded_once():
    joined().post("clutches/", short())
    assert states_record(GECKO) == 3
    assert states_record(GECKO) == states_record() == 0
    changes = StateChange.objects.values_list("before", "recorded_on").order_by().distinct()
    assert list(changes) == [("no-reports", datetime.now(UTC).date())]


@pytest.mark.django_db(transaction=True)
def test_states__recorded_by_many_at_once_are_recorded_once():
    gecko()
    for _ in range(3):
        joined().post("clutches/", short())
    start, counts = threading.Barrier(6), []

    def record() -> None:
        start.wait()
        try:
            counts.append(states_record(GECKO))
        finally:
            connections.close_all()

    threads = [threading.Thread(target=record) for _ in range(6)]
    for one in threads:
        one.start()
    for one in threads:
        one.join()
    assert sorted(counts) == [0, 0, 0, 0, 0, 3]
    assert StateChange.objects.count() == 3


def test_command__records_and_refuses_an_unknown_species(capsys):
    joined().post("clutches/", short())
    call_command("states", "record", "--species", GECKO)
    call_command("states", "record")
    assert capsys.readouterr().out.split("\n")[:2] == ["3 changes recorded.", "0 changes recorded."]
    with pytest.raises(CommandError, match="Did you mean marsh-lantern-gecko"):
        call_command("states", "record", "--species", "marsh-lantern")
