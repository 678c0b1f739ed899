"""SQL statements of every call: constant, whatever the number of rows, groups and targets.

BEGIN, COMMIT and savepoints are not counted. Catalogue versions are in the process's memory, as
they are after the first call of a species.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any, Final

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from registry.clutches.models import Clutch
from registry.pools.models import Contribution, PooledTarget
from tests.factories.registry import (
    ANY_STATE,
    GECKO,
    SEVERAL_GENES,
    Api,
    clutch,
    counted,
    documented_path,
    gecko,
    group,
    joined,
    lines_of,
    many,
    openapi,
    parent,
    statements,
)

REVIEWED: Final = Path(__file__).with_name("query_counts.json")
MOST_OF_A_REPORT: Final = 8

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture(autouse=True)
def _species():
    gecko()


# --- one report ---------------------------------------------------------------------------------

SMALL: Final = clutch(hatchlings={"normal": 4})


def small(sire: str | None, dam: str | None) -> dict[str, Any]:
    return clutch(parent("het ashwater", sire), parent("het ashwater", dam), {"normal": 4})


def test_report__of_many_groups_and_targets_costs_what_a_small_one_does():
    keeper = joined()
    assert counted(keeper, "post", "clutches/", small("m-1", "f-1")) <= MOST_OF_A_REPORT
    assert Contribution.objects.count() == 1
    few = counted(keeper, "post", "clutches/", small("m-2", "f-2"))
    large = counted(keeper, "post", "clutches/", many("m-3", "f-3"))
    assert Contribution.objects.count() >= 2 + 80
    assert large == few <= MOST_OF_A_REPORT


@pytest.mark.parametrize("body", [small, many])
def test_report__of_animals_without_labels(body):
    assert counted(joined(), "post", "clutches/", body(None, None)) <= MOST_OF_A_REPORT


@pytest.mark.parametrize("body", [small, many])
def test_report__again_of_the_same_animals(body):
    keeper = joined()
    first = counted(keeper, "post", "clutches/", body("m-1", "f-1"))
    again = [counted(keeper, "post", "clutches/", body("m-1", "f-1")) for _ in range(3)]
    assert {first, *again} == {first}
    assert first <= MOST_OF_A_REPORT
    assert Clutch.objects.values("family").distinct().count() == 1


@pytest.mark.parametrize("body", [small, many])
def test_report__that_merges_two_families(body):
    keeper = joined()
    first = counted(keeper, "post", "clutches/", body("m-1", "f-1"))
    counted(keeper, "post", "clutches/", body("m-2", "f-2"))
    assert Clutch.objects.values("family").distinct().count() == 2
    merging = counted(keeper, "post", "clutches/", body("m-1", "f-2"))
    assert Clutch.objects.values("family").distinct().count() == 1
    assert merging == first <= MOST_OF_A_REPORT


@pytest.mark.parametrize("labels", [(None, None), ("m-1", "f-1")])
@pytest.mark.parametrize("body", [small, many])
def test_report__with_a_pairing(body, labels):
    keeper = joined()
    given = body(*labels)
    declared = keeper.post(
        "pairings/",
        {name: given[name] for name in ("species", "season", "sire", "dam")},
    )
    given |= {"sire": None, "dam": None, "pairing": declared["id"]}
    counts = [counted(keeper, "post", "clutches/", given) for _ in range(3)]
    assert len(set(counts)) == 1
    assert counts[0] <= MOST_OF_A_REPORT


def test_report__of_eggs_alone_and_of_a_hundred_groups():
    keeper = joined()
    eggs = clutch(hatchlings=[], eggs={"died": 3})
    assert counted(keeper, "post", "clutches/", eggs) <= MOST_OF_A_REPORT
    hundred = clutch(hatchlings=[group("normal", 1, basis=str(n)) for n in range(100)])
    assert counted(keeper, "post", "clutches/", hundred) <= MOST_OF_A_REPORT


def test_withdrawal__does_not_grow_with_the_family_or_the_targets():
    keeper = joined()
    alone = keeper.post("clutches/", small("m-1", "f-1"))["id"]
    others = [keeper.post("clutches/", many("m-2", "f-2"))["id"] for _ in range(4)]
    few = counted(keeper, "delete", f"clutches/{alone}/", headers=ANY_STATE)
    assert counted(keeper, "delete", f"clutches/{others[0]}/", headers=ANY_STATE) == few


def many_counted(
    keeper: Api, bodies: list[Any], headers: dict[str, str] | None = None, **query: str
) -> int:
    """Statements of an upload in which every line is accepted."""
    content = "\n".join(map(json.dumps, bodies)).encode()
    with CaptureQueriesContext(connection) as captured:
        response = keeper.send(
            "post",
            "clutches/bulk/",
            content=content,
            content_type="application/jsonl",
            query=query,
            headers=headers,
        )
    assert lines_of(response)[-1]["summary"]["refused"] == 0
    return len(statements(captured))


def test_many_reports__with_a_key_cost_three_statements_more_for_each_line():
    keeper = joined()
    bodies = [small(f"m-{n}", f"f-{n}") for n in range(12)]
    plain = [many_counted(keeper, bodies[:n]) for n in (1, 12)]
    keyed = [
        many_counted(keeper, bodies[:n], headers={"Idempotency-Key": f"k-{n}"}) for n in (1, 12)
    ]
    # The advisory lock, the look for an answer, and storing it.
    assert [k - p for k, p in zip(keyed, plain, strict=True)] == [3, 36]


@pytest.mark.parametrize("query", [{}, {"validate_only": "true"}], ids=["stored", "tried"])
def test_many_reports__cost_the_same_for_each_line_and_no_more_than_one_report(query):
    keeper = joined()
    alone = counted(keeper, "post", "clutches/", small("m-0", "f-0"))
    bodies = [small(f"m-{n}", f"f-{n}") for n in range(12)]
    counts = [many_counted(keeper, bodies[:n], **query) for n in (1, 2, 12)]
    assert counts[1] - counts[0] == (counts[2] - counts[0]) / 11 < alone
    assert counts[0] <= MOST_OF_A_REPORT


# --- every read ---------------------------------------------------------------------------------

CALLS: Final = {
    "GET /api/v1/species/": "species/",
    "GET /api/v1/species/{species}/": f"species/{GECKO}/",
    "GET /api/v1/species/{species}/genes/": f"species/{GECKO}/genes/",
    "GET /api/v1/keepers/me/": "keepers/me/",
    "GET /api/v1/keepers/me/export/": "keepers/me/export/",
    "GET /api/v1/keepers/me/tokens/": "keepers/me/tokens/",
    "GET /api/v1/keepers/me/tokens/{token_id}/": "keepers/me/tokens/{token}/",
    "GET /api/v1/keepers/erasures/{receipt}/": "keepers/erasures/{receipt}/",
    "GET /api/v1/pairings/": "pairings/",
    "GET /api/v1/clutches/": "clutches/",
    "GET /api/v1/clutches/{clutch_id}/": "clutches/{clutch}/",
    "GET /api/v1/clutches/bulk/template/": "clutches/bulk/template/",
    "GET /api/v1/combinations/": "combinations/",
    "GET /api/v1/combinations/{species}/{genes}/": f"combinations/{GECKO}/ashwater reed/",
    "GET /api/v1/combinations/{species}/{genes}/history/": (
        f"combinations/{GECKO}/ashwater reed/history/"
    ),
    "GET /api/v1/flags/": "flags/",
    "GET /api/v1/exports/": "exports/",
    "GET /api/v1/exports/pools/{species}.csv": f"exports/pools/{GECKO}.csv",
    "GET /api/v1/feeds/flags.atom": "feeds/flags.atom",
    "GET /api/v1/feeds/flags/{species}.atom": f"feeds/flags/{GECKO}.atom",
    "GET /api/v1/feeds/combinations/{species}/{genes}.atom": (
        f"feeds/combinations/{GECKO}/ashwater reed.atom"
    ),
    "GET /api/v1/animals/": "animals/",
    "GET /api/v1/animals/{animal_id}/": "animals/{animal}/",
    "GET /api/v1/clutches/{clutch_id}/revisions/": "clutches/{clutch}/revisions/",
    "GET /api/v1/clutches/{clutch_id}/opinions/": "clutches/{clutch}/opinions/",
    "GET /api/v1/duplicates/": "duplicates/",
    "GET /api/v1/duplicates/{duplicate_id}/": "duplicates/{duplicate}/",
    "GET /api/v1/species/{species}/look-alikes/": f"species/{GECKO}/look-alikes/",
    "POST /api/v1/notation/": "notation/",
    "POST /api/v1/forecasts/": "forecasts/",
    "POST /api/v1/clutch-checks/": "clutch-checks/",
    "POST /api/v1/keepers/": "keepers/",
    "POST /api/v1/keepers/recoveries/": "keepers/recoveries/",
    "POST /api/v1/keepers/me/tokens/": "keepers/me/tokens/",
    "POST /api/v1/keepers/me/recovery-code/": "keepers/me/recovery-code/",
    "POST /api/v1/pairings/": "pairings/",
    "POST /api/v1/clutches/": "clutches/",
    "POST /api/v1/clutches/bulk/": "clutches/bulk/",
    "POST /api/v1/second-opinions/": "second-opinions/",
    "POST /api/v1/clutches/{clutch_id}/revisions/": "clutches/{clutch}/revisions/",
    "POST /api/v1/animals/{animal_id}/statuses/": "animals/{animal}/statuses/",
    "PUT /api/v1/duplicates/{duplicate_id}/": "duplicates/{duplicate}/",
    "DELETE /api/v1/clutches/{clutch_id}/": "clutches/{clutch}/",
    "DELETE /api/v1/keepers/me/tokens/{token_id}/": "keepers/me/tokens/{token}/",
    "DELETE /api/v1/keepers/me/": "keepers/me/",
}

GENES: Final = ("ashwater", "reed", "quillback", "dewline", "ladder", "peatcoat")


def short_pair(n: int) -> dict[str, Any]:
    """A clutch of two genes that hatch apart and never together; pairs repeat after fifteen."""
    one, other = GENES[n % 6], GENES[(n + 1 + n // 6) % 6]
    return clutch(
        parent(f"{one} het {other}", f"m-{n}"),
        parent(f"{other} het {one}", f"f-{n}"),
        {"normal": 20, one: 20, other: 20},
    )


def fill(keeper: Api, n_rows: int) -> str:
    """Rows of every list; the id of one clutch. Flagged, on watch and neither, by three keepers."""
    others = (joined(), joined())
    clutch_id = ""
    for n in range(n_rows):
        body = short_pair(n)
        clutch_id = keeper.post("clutches/", body)["id"]
        for one in others:
            one.post("clutches/", body)
        keeper.post("clutches/", clutch("tidemark", f"het {GENES[n % 6]}", {"tidemark": n + 1}))
        said = {"sire": body["sire"], "dam": parent("het ashwater")}
        keeper.post("pairings/", {"species": GECKO, "season": body["season"], **said})
    return clutch_id


def body_of(call: str, keeper: Api) -> Any:
    parents = {"sire": parent("het ashwater"), "dam": parent("het ashwater")}
    bodies: dict[str, Any] = {
        "notation/": {"species": GECKO, "text": "reed"},
        "forecasts/": {"species": GECKO, **parents, "wanted": ["ashwater"]},
        "clutch-checks/": SMALL,
        "keepers/": {},
        "keepers/recoveries/": {"recovery_code": keeper.recovery_code},
        "keepers/me/tokens/": {},
        "keepers/me/recovery-code/": {},
        "pairings/": {"species": GECKO, "season": 2025, **parents},
        "clutches/": SMALL,
        "clutches/bulk/": SMALL,
        "second-opinions/": OPINION,
        "clutches/{clutch}/revisions/": {"eggs": {"died": 1}},
        "animals/{animal}/statuses/": {"gene": "reed", "status": "disproved"},
        "duplicates/{duplicate}/": {"verdict": "different"},
    }
    return bodies[CALLS[call]] if call.startswith(("POST", "PUT")) else None


CODED: Final = clutch(hatchlings={"normal": 4}, clutch_code="query-counts", season=2021)
OPINION: Final = {
    "species": GECKO,
    "season": 2021,
    "clutch_code": "query-counts",
    "hatchlings": [group("normal", 4)],
}


def named(keeper: Api, clutch_id: str) -> dict[str, str]:
    """Ids that stand in the addresses of calls."""
    gone, other = joined(), keeper.post("keepers/me/tokens/", {})
    receipt = gone.send("delete", "keepers/me/", headers=ANY_STATE).json()["receipt"]
    own = keeper.post("clutches/", clutch(parent("het ashwater, het reed", "of-counts")))
    joined().post("clutches/", CODED | {"clutch_code": f"query-counts {other['id'][:8]}"})
    keeper.post("clutches/", CODED | {"clutch_code": f"query-counts {other['id'][:8]}"})
    first = CODED | {"clutch_code": "query-counts"}
    joined().post("clutches/", first)
    animals = keeper.get("animals/", label="of-counts")["results"]
    return {
        "clutch": clutch_id,
        "token": other["id"],
        "receipt": receipt,
        "animal": animals[0]["id"],
        "duplicate": keeper.get("duplicates/")["results"][0]["id"],
        "own": own["id"],
    }


def counts_of(keeper: Api, clutch_id: str, *, calls: Any = CALLS) -> dict[str, int]:
    """Statements of each call, once what is stale has been brought up to date."""
    found = {}
    ids = named(keeper, clutch_id)
    for path in ("combinations/", "flags/"):
        keeper.get(path, page_size=200)
    for call in calls:
        method = call.partition(" ")[0].lower()
        path = CALLS[call].format(**ids)
        given: dict[str, Any] = {"query": {"page_size": 200}} if _is_list(call) else {}
        if method in {"delete", "put"} or path.endswith(("/revisions/", "/statuses/")):
            given["headers"] = ANY_STATE
        if path == "clutches/bulk/":
            given["content_type"] = "application/jsonl"
        found[call] = counted(keeper, method, path, body_of(call, keeper), **given)
    return found


def _is_list(call: str) -> bool:
    method, _, path = call.partition(" ")
    parameters = openapi()["paths"][path][method.lower()].get("parameters", [])
    return any(one["name"] == "page_size" for one in parameters)


def test_every_call__is_counted():
    documented = {
        f"{method.upper()} {path}"
        for path, item in openapi()["paths"].items()
        for method in item
        if method in {"get", "post", "put", "patch", "delete"}
    }
    unread = {"GET /api/v1/", "GET /api/v1/openapi.json"}
    assert documented - unread == set(CALLS) - unread
    assert documented_path("api/v1/clutches/<uuid:clutch_id>/") == "/api/v1/clutches/{clutch_id}/"


def test_statements__are_those_of_the_reviewed_file():
    """After a change that is meant, correct ``query_counts.json`` by hand."""
    keeper = joined()
    reviewed = json.loads(REVIEWED.read_text("utf-8"))
    clutch_id = fill(keeper, 4)
    assert keeper.get(CALLS["GET /api/v1/combinations/{species}/{genes}/"])["state"] == "flagged"
    counts = counts_of(keeper, clutch_id)
    assert list(reviewed) == list(CALLS)
    assert {call: n for call, n in counts.items() if n != reviewed[call]} == {}


def test_lists__do_not_grow_with_their_rows():
    keeper = joined()
    reads = [call for call in CALLS if call.startswith("GET")]
    clutch_id = fill(keeper, 2)
    few = counts_of(keeper, clutch_id, calls=reads)
    # States and opinions of one clutch do not come with more clutches.
    lists = [call for call in reads if _is_list(call) and "{clutch_id}" not in call]
    rows = {call: _n_rows(keeper, call) for call in lists}
    fill(keeper, 20)
    assert counts_of(keeper, clutch_id, calls=reads) == few
    # The lists that depend on reports did grow.
    grown = {call: _n_rows(keeper, call) - n for call, n in rows.items()}
    assert {call: n > 0 for call, n in grown.items()} == {
        call: not call.startswith("GET /api/v1/species/") for call in rows
    }


def _n_rows(keeper: Api, call: str) -> int:
    return len(keeper.get(CALLS[call], page_size=200)["results"])


READS: Final = ("combinations/", "flags/", f"combinations/{GECKO}/wickglow/")


@pytest.mark.parametrize("path", READS)
def test_reads_after_reports__bring_any_number_up_to_date_in_the_same_statements(path):
    """One pair with its genes on watch, held against each other; then over a hundred targets."""
    keeper = joined()
    keeper.post("clutches/", clutch("wickglow", "wickglow", {"normal": 4, "wickglow": 5}))
    for _ in range(3):
        keeper.post("clutches/", short_pair(0))
    few = counted(keeper, "get", path)
    on_watch = set(_on_watch(keeper))
    assert {"Ashwater", "Ashwater Pale Reed"} <= on_watch
    keeper.post("clutches/", clutch(SEVERAL_GENES, SEVERAL_GENES, {"normal": 9}))
    assert PooledTarget.objects.count() > 100
    for n in range(1, 9):
        keeper.post("clutches/", short_pair(n))
        keeper.post("clutches/", short_pair(n))
    assert counted(keeper, "get", path) - few in {0, 1}
    assert len(_on_watch(keeper)) > len(on_watch) + 8


def _on_watch(keeper: Api) -> list[str]:
    return [one["combination"] for one in keeper.get("flags/", page_size=200)["results"]]


@pytest.mark.parametrize("path", READS)
def test_reads__compare_nothing_where_nothing_on_watch_changed(path):
    """What is on watch is held against the others once, not at every read."""
    keeper = joined()
    keeper.post("clutches/", clutch("wickglow", "wickglow", {"normal": 3, "wickglow": 4}))
    for _ in range(3):
        keeper.post("clutches/", short_pair(0))
    first = counted(keeper, "get", path)
    again = counted(keeper, "get", path)
    keeper.post("clutches/", clutch("wickglow", "wickglow", {"normal": 4, "wickglow": 5}))
    elsewhere = counted(keeper, "get", path)
    assert counted(keeper, "get", path) == again
    # Assessing the new clutch's targets takes its statements, comparing takes none.
    keeper.post("clutches/", short_pair(0))
    assert counted(keeper, "get", path) > elsewhere > again
    assert first > again
