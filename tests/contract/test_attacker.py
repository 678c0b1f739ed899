"""Somebody who wants to learn about a single keeper, and has nothing but the public answers.

The strongest test of a secret is two worlds that differ in it alone: every public answer is the
same in both, byte for byte. `LEAKS` holds answers that give a secret away on purpose, and the same
tests must notice each of them.
"""

from __future__ import annotations

import json
import re
from collections import defaultdict
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any, Final
from uuid import UUID, uuid4

import pytest
import time_machine
from django.db import transaction
from django.utils import timezone

from registry.clutches.models import Clutch
from registry.pools.models import Contribution
from tests.factories.registry import (
    ANY_STATE,
    GECKO,
    Api,
    clutch,
    gecko,
    group,
    joined,
    openapi,
    parent,
)
from tests.factories.tables import read_table

pytestmark = pytest.mark.django_db

PAIR: Final = "ashwater quillback"
CSV: Final = f"exports/pools/{GECKO}.csv"
FEEDS: Final = (
    "feeds/flags.atom",
    f"feeds/flags/{GECKO}.atom",
    f"feeds/combinations/{GECKO}/{PAIR}.atom",
    f"feeds/combinations/{GECKO}/ashwater.atom",
)
ANSWERS: Final = (
    *(
        f"combinations/{GECKO}/{genes}/{end}"
        for genes in (PAIR, "ashwater", "quillback", "ashwater quillback reed")
        for end in ("", "history/")
    ),
    f"species/{GECKO}/look-alikes/",
)
REVIEWED_PARAMETERS: Final = {
    "species": [GECKO],
    "gene": ["ash", "quill"],
    "size": ["1", "2"],
    "min_hatchlings": ["1", "12", "36"],
    "state": ["too-early", "as-expected", "watch", "flagged"],
    "produced": ["yes", "no", "uncertain"],
    "page_size": ["1"],
    "source": ["keepers", "published"],
}
"""Filters of the public lists. None of them is by a keeper, a season or a number of keepers."""


@pytest.fixture(autouse=True)
def _species():
    gecko()


# --- everything that anybody can read -----------------------------------------------------------


def list_queries() -> list[tuple[str, dict[str, str]]]:
    """Every filter and every order that the interface description offers for a public list."""
    found: list[tuple[str, dict[str, str]]] = []
    for path in ("combinations/", "flags/"):
        operation = openapi()["paths"][f"/api/v1/{path}"]["get"]
        found.append((path, {}))
        for one in operation["parameters"]:
            if one["name"] == "ordering":
                values = one["schema"]["items"]["enum"]
            elif one["name"] == "cursor":
                continue
            else:
                values = REVIEWED_PARAMETERS[one["name"]]
            found += [(path, {one["name"]: value}) for value in values]
            if one["name"] == "ordering":
                found += [(path, {"ordering": value, "page_size": "1"}) for value in values]
    return found


def everything() -> dict[str, bytes]:
    """All public answers that depend on reports, without the random identifiers of entries."""
    found = {}
    for path, query in list_queries():
        found[f"{path} {query}"] = Api().send("get", path, query=query).content
    for path in ANSWERS:
        found[path] = Api().send("get", path).content
    for path in (CSV, *FEEDS):
        found[path] = re.sub(rb"urn:uuid:[-0-9a-f]{36}", b"urn:uuid:...", Api().read(path))
    return found


@contextmanager
def world() -> Iterator[None]:
    """Whatever is reported inside never was."""
    with transaction.atomic():
        yield
        transaction.set_rollback(True)


Scene = Callable[[], None]


def differing(one: Scene, other: Scene) -> list[str]:
    """Public answers that are not the same in two worlds."""
    seen = []
    for scene in (one, other):
        with world():
            scene()
            seen.append(everything())
    assert seen[0].keys() == seen[1].keys()
    assert len(seen[0]) > 60
    return [name for name in seen[0] if seen[0][name] != seen[1][name]]


# --- worlds that differ in one secret -----------------------------------------------------------

COUNTS: Final = {"normal": 4, "ashwater": 4, "quillback": 4}


def short(name: str = "m-1", **change: Any) -> dict[str, Any]:
    """Twelve hatchlings without the pair, which a quarter should show."""
    sire = parent("ashwater het quillback", name)
    return clutch(sire, parent("quillback het ashwater", f"{name}'s"), COUNTS, **change)


def reports(n_keepers: int, *bodies: dict[str, Any]) -> Scene:
    """The bodies in turn from so many keepers."""

    def scene() -> None:
        keepers = [joined() for _ in range(n_keepers)]
        for number, body in enumerate(bodies):
            keepers[number % n_keepers].post("clutches/", body)

    return scene


def declared(*, before: bool) -> Scene:
    """One keeper's clutch, from a pairing that was declared or not."""

    def scene() -> None:
        keeper, body = joined(), short(season=timezone.now().year)
        if before:
            said = {name: body[name] for name in ("species", "season", "sire", "dam")}
            body |= {"sire": None, "dam": None}
            body["pairing"] = keeper.post("pairings/", said)["id"]
        keeper.post("clutches/", body)

    return scene


def at_time(moment: str) -> Scene:
    def scene() -> None:
        with time_machine.travel(moment):
            reports(2, short(), short())()
            Api().read(FEEDS[0])  # the feeds record the change at that time

    return scene


def regrouped() -> dict[str, Any]:
    calls = [group(call, 2, sex="female", basis="secret") for call in COUNTS for _half in range(2)]
    return short(clutch_code="secret") | {"hatchlings": calls}


# secret -> the two worlds
SECRETS: Final[dict[str, tuple[Scene, Scene]]] = {
    "one keeper or two": (reports(1, short("a"), short("b")), reports(2, short("a"), short("b"))),
    "whose clutches belong together": (
        reports(2, short("a"), short("b"), short("c"), short("d")),
        reports(1, short("a"), short("b"), short("c"), short("d")),
    ),
    "season": (reports(1, short(season=2018)), reports(1, short(season=2025))),
    "season of a success": (
        reports(2, short(), clutch(season=2018)),
        reports(2, short(), clutch(season=2025)),
    ),
    "declared": (declared(before=True), declared(before=False)),
    "labels": (reports(2, short("a"), short("b")), reports(2, short("x"), short("y"))),
    "codes, bases, sexes, groups": (reports(1, short()), reports(1, regrouped())),
    "time of day": (at_time("2026-11-25T03:04:05Z"), at_time("2026-11-25T17:23:42Z")),
}


@pytest.mark.parametrize("secret", SECRETS)
def test_secret_of_one_or_two_keepers__is_in_no_public_answer(secret):
    assert differing(*SECRETS[secret]) == []


def test_worlds__that_differ_in_what_is_public_are_told_apart():
    """The comparison can fail: one hatchling more is seen in lists, answer, open data and feed."""
    more = short() | {
        "hatchlings": [group(call, n) for call, n in (COUNTS | {"normal": 5}).items()]
    }
    found = differing(reports(1, short()), reports(1, more))
    assert {"combinations/ {}", ANSWERS[0], CSV, FEEDS[2]} <= set(found)


# where -> what is put there, and the secret that it gives away
LEAKS: Final[dict[str, tuple[Any, str]]] = {
    "registry.combinations.selectors.keepers_shown": (lambda n: n, "one keeper or two"),
    "registry.combinations.selectors.FEW_KEEPERS": (1, "season of a success"),
    "registry.combinations.evidence.FEW_KEEPERS": (1, "declared"),
    "registry.combinations.history.FEW_KEEPERS": (2, "one keeper or two"),
    "registry.exports.merging.FEW_KEEPERS": (1, "declared"),
    "registry.combinations.api.views.CombinationsView.page_key": (("pk",), "labels"),
}


@pytest.mark.parametrize("place", LEAKS)
def test_secret__that_an_answer_gives_away_is_noticed(monkeypatch, place):
    leak, secret = LEAKS[place]
    monkeypatch.setattr(place, leak)
    assert differing(*SECRETS[secret])


# --- differencing before and after --------------------------------------------------------------

TOTALS: Final = re.compile(
    r"state|advice|next_step|method\.pool|explained_by.*|explanations.*|recovery.*|related.*"
    r"|produced\.(answer|clutches|hatchlings|hatchlings_if_uncertain_count)"
    r"|tried\.(clutches|hatchlings|expected|chance_of_none|p_value)"
    r"|evidence\.(e_value|e_value_specific|sentence|specific|unreported_successes_to_undo"
    r"|more_hatchlings_to_signal)"
)
"""What a report changes while one or two keepers stand behind a combination: pooled totals, and
what is computed from them."""


def leaves(value: Any, place: str = "") -> dict[str, Any]:
    if isinstance(value, dict):
        parts = value.items()
    elif isinstance(value, list):
        parts = enumerate(value)
    else:
        return {place: value}
    return {
        name: leaf
        for key, inner in parts
        for name, leaf in leaves(inner, f"{place}.{key}" if place else str(key)).items()
    }


def changed(before: Any, after: Any) -> set[str]:
    one, other = leaves(before), leaves(after)
    return {name for name in one.keys() | other.keys() if one.get(name) != other.get(name)}


def row_of(combination: str) -> dict[str, Any] | None:
    (resource,) = Api().get("exports/")["resources"]
    rows = read_table(resource, Api().read(CSV))
    found = [row for row in rows if row["combination"] == combination]
    return found[0] if len(found) == 1 else None


def test_report__of_the_first_and_second_keeper_changes_pooled_totals_alone():
    keepers = [joined() for _ in range(4)]
    keepers[0].post("clutches/", short("first", season=2019))
    for number, keeper in enumerate([keepers[0], *keepers[1:]]):
        before, history = Api().combination(PAIR), Api().get(f"{ANSWERS[0]}history/")
        line = row_of("Ashwater Quillback")
        keeper.post("clutches/", short("next", season=2020))
        found = changed(before, Api().combination(PAIR))
        assert {"tried.clutches", "tried.hatchlings"} <= found
        beyond = {name for name in found if not TOTALS.fullmatch(name)}
        columns = changed(line, row_of("Ashwater Quillback"))
        unseen = changed(history, Api().get(f"{ANSWERS[0]}history/"))
        if number < 2:
            assert beyond == unseen == set()
            assert columns == {"clutches", "hatchlings"}
        else:
            assert "tried.keepers" in beyond
            assert {"keepers", "families"} < columns
            assert "points.0.e_value" in unseen or "points.4.e_value" in unseen


def test_keepers__that_become_two_again_are_numbered_no_more():
    """From three to two by a withdrawal: what was told of three is gone with the third."""
    keepers = [joined() for _ in range(3)]
    ids = [one.post("clutches/", short(season=2020 + n))["id"] for n, one in enumerate(keepers)]
    assert Api().combination(PAIR)["tried"]["keepers"] == 3
    assert len(Api().get(ANSWERS[1])["points"]) == 3
    keepers[1].delete(f"clutches/{ids[1]}/")
    answer, history = Api().combination(PAIR), Api().get(ANSWERS[1])
    assert answer["tried"]["keepers"] is None
    assert (history["points"], history["hidden"]) == ([], True)
    line = row_of("Ashwater Quillback")
    assert line is not None
    assert line["cells"] is line["keepers"] is line["families"] is None


def test_report__changes_nothing_of_the_catalogue_and_of_the_descriptor():
    paths = (
        "species/",
        f"species/{GECKO}/",
        f"species/{GECKO}/genes/",
        "exports/",
        "",
        "openapi.json",
    )
    before = [Api().send("get", path).content for path in paths]
    listed = Api().send("get", "combinations/").content
    reports(3, short(), short(), short())()
    assert [Api().send("get", path).content for path in paths] == before
    assert Api().send("get", "combinations/").content != listed


# --- related combinations -----------------------------------------------------------------------


def related_scene() -> None:
    """Four keepers of the single genes, two of them of the pair, one of the triple."""
    keepers = [joined() for _ in range(4)]
    for number, keeper in enumerate(keepers):
        keeper.post("clutches/", clutch(season=2010 + number))
        keeper.post("clutches/", clutch("het quillback", "het quillback", {"normal": 6}))
    for keeper in keepers[:2]:
        keeper.post("clutches/", short(season=2022))
    triple = "het ashwater, het quillback, het reed"
    keepers[0].post("clutches/", clutch(triple, triple, {"normal": 20, "ashwater": 3}))


def told_of_few() -> list[str]:
    """Combinations of one or two keepers, by what is stored, of which more than totals is told."""
    keepers = defaultdict(set)
    for name, keeper in Contribution.objects.values_list("target__combination", "keeper"):
        keepers[name].add(keeper)
    few = {name for name, own in keepers.items() if len(own) < 3}
    assert len(few) > 3
    assert len(few) < len(keepers)
    found = set()
    listed = Api().get("combinations/", page_size=200)["results"]
    rows = {one["combination"]: row_of(one["combination"]) for one in listed}
    for one in listed:
        name = one["combination"]
        answer, row = Api().combination(name), rows[name]
        told = (
            one["tried"]["keepers"],
            one["produced"]["first_season"],
            one["produced"]["keepers"] or None,
            answer["tried"]["keepers"],
            answer["produced"]["first_season"],
            answer["evidence"]["without_top_keeper"],
            answer["evidence"]["e_value_declared_only"],
            *Api().get(f"combinations/{GECKO}/{name}/history/")["points"],
            *((row["cells"], row["sire"], row["keepers"], row["families"]) if row else ()),
        )
        if name in few and (not row or any(value is not None for value in told)):
            found.add(name)
        assert not {"keepers", "first_season"} & {
            key for related in answer["related"] for key in related
        }
    return sorted(found)


def test_related_combinations__of_few_keepers_have_totals_alone():
    related_scene()
    assert told_of_few() == []


@pytest.mark.parametrize(
    "place",
    [
        "registry.combinations.selectors.FEW_KEEPERS",
        "registry.combinations.history.FEW_KEEPERS",
    ],
)
def test_related_combinations__that_tell_more_are_noticed(monkeypatch, place):
    related_scene()
    monkeypatch.setattr(place, 2)
    assert told_of_few()


def test_open_data__with_a_row_of_two_keepers_is_not_as_its_descriptor_says(monkeypatch):
    related_scene()
    monkeypatch.setattr("registry.exports.merging.FEW_KEEPERS", 2)
    with pytest.raises(ValueError, match="keepers is 2"):
        row_of("Ashwater Quillback")


# --- lists --------------------------------------------------------------------------------------


def test_lists__have_no_other_filter_and_no_order_by_what_is_hidden():
    """A new filter or order belongs into the comparison of worlds above, after a thought."""
    for path in ("combinations/", "flags/"):
        parameters = openapi()["paths"][f"/api/v1/{path}"]["get"]["parameters"]
        named = {one["name"]: one for one in parameters}
        assert set(named) - {"cursor", "ordering"} <= set(REVIEWED_PARAMETERS)
        for order in named.get("ordering", {}).get("schema", {}).get("items", {}).get("enum", []):
            name = order.removeprefix("-")
            shown = Api().get("combinations/")["results"]
            assert name in {"combination", "hatchlings", "expected", "p_value", "e_value"}
            assert shown == []


@pytest.mark.parametrize("path", ["combinations/", "flags/", "exports/", *FEEDS, CSV, *ANSWERS])
@pytest.mark.parametrize("name", ["keeper", "keepers", "min_keepers", "season", "family", "clutch"])
def test_public_call__takes_no_keeper_season_or_family(path, name):
    problem = Api().refused("get", path, query={name: "3"}, headers={"Accept": "*/*"})
    assert (problem["status"], problem["code"]) == (400, "unknown-parameter")


# --- tags ---------------------------------------------------------------------------------------


def tags_lie(moments: list[dict[str, tuple[str | None, bytes]]]) -> list[str]:
    """Calls whose tag is not equal just where the body is."""
    found = set()
    for one in moments:
        for other in moments:
            for path, (tag, body) in one.items():
                other_tag, other_body = other[path]
                if tag is not None and (tag == other_tag) != (body == other_body):
                    found.add(path)
    return sorted(found)


def tagged(asking: Api) -> dict[str, tuple[str | None, bytes]]:
    found = {}
    for path in (*ANSWERS, "combinations/", "flags/", CSV, *FEEDS):
        response = asking.send("get", path)
        found[path] = (response.headers.get("ETag"), response.getvalue())
    return found


def test_tags__are_equal_where_bodies_are_whoever_asks():
    keeper = joined()
    moments = [tagged(Api())]
    for _ in range(3):
        done = keeper.post("clutches/", short())
        moments += [tagged(one) for one in (Api(), keeper, joined())]
        assert moments[-1] == moments[-2] == moments[-3]
    keeper.delete(f"clutches/{done['id']}/")
    moments.append(tagged(Api()))
    assert tags_lie(moments) == []
    assert all(moments[0][path][0] for path in (CSV, *FEEDS))
    assert len({one[CSV][1] for one in moments}) == 4
    by_asker = [
        {path: (f"{tag}{n}", body) for path, (tag, body) in moments[0].items()} for n in "ab"
    ]
    assert CSV in tags_lie(by_asker)


# --- ids ----------------------------------------------------------------------------------------


def owned() -> dict[str, str]:
    """Parameter of a path -> the id of something that a keeper has."""
    keeper = joined()
    said = {"sire": parent("reed", "m-1"), "dam": parent("reed", "f-1")}
    pairing = keeper.post("pairings/", {"species": GECKO, "season": 2025, **said})["id"]
    coded = clutch(clutch_code="of the owner")
    own = keeper.post("clutches/", coded)["id"]
    joined().post("clutches/", coded)
    return {
        "clutch_id": own,
        "pairing_id": pairing,
        "token_id": keeper.get("keepers/me/tokens/")["results"][0]["id"],
        "animal_id": keeper.get("animals/")["results"][0]["id"],
        "duplicate_id": keeper.get("duplicates/")["results"][0]["id"],
    }


def asked(asker: Api, method: str, path: str, given: str, **sent: Any) -> tuple[Any, ...]:
    """What a call says, with the id that was asked for taken out."""
    response = asker.send(method, path, **sent)
    headers = {name: text for name, text in response.headers.items() if name != "Date"}
    said = response.getvalue().decode().replace(given, "ID")
    return response.status_code, said, {n: one.replace(given, "ID") for n, one in headers.items()}


def calls_with_an_id() -> list[tuple[str, str, str]]:
    """(method, path, name of the id) of every documented call of something with an owner."""
    return [
        (method, path.removeprefix("/api/v1/"), name)
        for path, item in openapi()["paths"].items()
        for name in re.findall(r"{(\w+_id)}", path)
        for method in item
        if method in {"get", "post", "put", "patch", "delete"}
    ]


@pytest.mark.parametrize(("method", "path", "name"), calls_with_an_id())
@pytest.mark.parametrize("signed", [True, False])
def test_id_of_somebody_else__is_answered_like_one_that_never_was(method, path, name, signed):
    """A call of something new: add its owner's id to ``owned``."""
    there, never = owned()[name], str(uuid4())
    asker = joined() if signed else Api()
    sent = {} if method in {"get", "delete"} else {"body": {}}
    if method in {"delete", "put"} or path.endswith(("revisions/", "statuses/")):
        sent["headers"] = ANY_STATE
    found = [
        asked(asker, method, path.replace(f"{{{name}}}", one), one, **sent)
        for one in (there, never)
    ]
    assert found[0] == found[1]
    assert found[0][0] in {400, 401, 404}
    assert Clutch.objects.count() == 2


def test_id_of_somebody_else__in_a_body_and_in_a_filter_is_one_that_never_was():
    there, never = owned()["pairing_id"], str(uuid4())
    other = joined()
    found = []
    for one in (there, never):
        body = clutch(None, None, {"reed": 1}, pairing=one)
        found.append(
            (
                asked(other, "post", "clutches/", one, body=body),
                asked(other, "get", "clutches/", one, query={"pairing": one}),
            )
        )
    assert found[0] == found[1]
    assert found[0][0][0] in {400, 404}
    assert found[0][1][0] == 200


def test_ids__are_random():
    """Version 4: no time, no counter. A version 7 tells when, a number how many came before."""
    keeper = joined()
    said = {"sire": parent("reed"), "dam": parent("reed")}
    ids = [keeper.keeper or ""]
    for _ in range(3):
        ids.append(keeper.post("clutches/", short())["id"])
        ids.append(keeper.post("pairings/", {"species": GECKO, "season": 2025, **said})["id"])
    feed = Api().read(FEEDS[2]).decode()
    ids += re.findall(r"<entry>.*?<id>urn:uuid:([-0-9a-f]+)</id>", feed)
    assert len(set(ids)) == len(ids) == 8
    assert {UUID(one).version for one in ids} == {4}


def test_cursor__names_nothing_but_what_the_list_shows():
    """A cursor can be read by anybody: it holds no number of a row."""
    reports(2, short(), clutch("tidemark", "normal", {"tidemark": 3, "normal": 3}))()
    links = [
        Api().get(path, **(query | {"page_size": 1}))["next"] for path, query in list_queries()
    ]
    assert sum(link is not None for link in links) > 1
    for link in filter(None, links):
        signed = link.partition("cursor=")[2].partition("&")[0].partition("%3A")[0]
        terms, _backwards, key = json.loads(_decoded(signed))
        assert len(terms) == len(key)
        assert not {"pk", "id"} & {term.lstrip("-") for term in terms}


def _decoded(text: str) -> bytes:
    import base64  # noqa: PLC0415 - an attacker's tool, needed here alone

    return base64.urlsafe_b64decode(text + "=" * (-len(text) % 4))
