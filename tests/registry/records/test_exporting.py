"""Everything of a keeper to take along, as JSON and as CSV files in a ZIP."""

from __future__ import annotations

import csv
import io
import json
import tracemalloc
import zipfile
from typing import Any

import pytest
from django.db import connection

from registry.keepers.models import Keeper
from registry.records import exporting
from registry.records.api.serializers import ExportSerializer
from registry.records.exporting import PARTS, export_json, export_zip
from tests.factories.registry import (
    ANY_STATE,
    GECKO,
    Api,
    clutch,
    counted,
    gecko,
    group,
    joined,
    parent,
)

pytestmark = pytest.mark.django_db


@pytest.fixture
def keeper() -> Api:
    gecko()
    keeper = joined()
    fill(keeper)
    fill(joined(), label="stranger")
    return keeper


def fill(keeper: Api, label: str = "m-1") -> None:
    """Something in every part, with everything that a clutch can have."""
    keeper.post("keepers/me/tokens/", {"label": f"{label}; \"quoted\", 'too'"})
    declared = keeper.post(
        "pairings/",
        {
            "species": GECKO,
            "season": 2025,
            "sire": parent("het ashwater", f"{label} \u00e4\n=1+1"),
            "dam": parent("het ashwater", f"{label} dam"),
        },
    )
    keeper.post("clutches/", clutch(None, None, {"normal": 5}, pairing=declared["id"]))
    keeper.post(
        "clutches/",
        clutch(
            parent("tidemark het ashwater", label, unproven=["ashwater"]),
            "66% het ashwater",
            [group("normal", 3, basis="first shed"), group("ashwater", 1, "reed", "quillback")],
            eggs={"laid": 9, "infertile": 1},
            clutch_code=f"{label}-code",
        ),
    )


def tables(keeper: Api, **given: Any) -> dict[str, list[dict[str, str]]]:
    """CSV files of an export, by name."""
    response = keeper.send("get", "keepers/me/export/", **(given or {"query": {"form": "csv"}}))
    assert response.status_code == 200
    assert response.headers["Content-Type"] == "application/zip"
    assert int(response.headers["Content-Length"]) == len(response.content)
    with zipfile.ZipFile(io.BytesIO(response.content)) as archive:
        assert archive.testzip() is None
        return {
            name.removesuffix(".csv"): list(
                csv.DictReader(io.StringIO(archive.read(name).decode("utf-8"), newline=""))
            )
            for name in archive.namelist()
        }


def test_export__has_every_part_as_its_own_call_shows_it(keeper):
    response = keeper.send("get", "keepers/me/export/")
    assert response.headers["Cache-Control"] == "no-store"
    assert response.headers["Content-Type"] == "application/json"
    assert response.headers["Content-Disposition"].startswith('attachment; filename="broodcount-')
    export = response.json()
    record = keeper.get("keepers/me/")
    assert list(export) == ["keeper", "joined_on", "exported_on", *PARTS]
    counted_there = {name for name in PARTS if name in record}
    assert counted_there == {"tokens", "animals", "pairings", "clutches"}
    assert {name: len(export[name]) for name in counted_there} == {
        name: record[name] for name in counted_there
    }
    assert (export["keeper"], export["joined_on"]) == (record["keeper"], record["joined_on"])
    assert export["clutches"] == keeper.get("clutches/", ordering="reported_at")["results"]
    assert export["pairings"] == keeper.get("pairings/", ordering="declared_at")["results"]
    tokens = keeper.get("keepers/me/tokens/")["results"]
    for one in tokens:
        del one["current"]
    assert export["tokens"] == tokens
    assert export["animals"] == keeper.get("animals/")["results"]
    for clutch_id in (one["id"] for one in export["clutches"]):
        own = [dict(one) for one in export["revisions"] if one["clutch"] == clutch_id]
        assert [one.pop("clutch") for one in own] == [clutch_id]
        assert own == keeper.get(f"clutches/{clutch_id}/revisions/")["results"]
    assert export["opinions"] == export["holds"] == export["drafts"] == []
    assert export["duplicates"] == keeper.get("duplicates/")["results"] != []
    assert {one["label"] for one in export["animals"]} == {"m-1", "m-1 dam", "m-1 \u00e4\n=1+1"}


@pytest.mark.parametrize("form", ["json", "csv"])
def test_export__has_no_secret_no_digest_and_nothing_of_others(keeper, form):
    response = keeper.send("get", "keepers/me/export/", query={"form": form})
    text = response.content.decode() if form == "json" else json.dumps(tables(keeper))
    assert "stranger" not in text
    own = Keeper.objects.get(pk=keeper.keeper)
    digests = [own.recovery_sha256, *own.tokens.values_list("sha256", flat=True)]
    assert not [one for one in (keeper.token, keeper.recovery_code, *digests) if one in text]


def leaves(value: Any) -> list[str]:
    """Every text and number in a JSON value, as CSV writes it."""
    if isinstance(value, dict):
        return [one for inner in value.values() for one in leaves(inner)]
    if isinstance(value, list):
        return [one for inner in value for one in leaves(inner)]
    if isinstance(value, bool):
        return [str(value).lower()]
    return [] if value is None else [str(value)]


def test_export__csv_leaves_nothing_of_the_json_out(keeper):
    export = keeper.get("keepers/me/export/")
    found = tables(keeper)
    for name in PARTS:
        cells = [
            cell
            for table, rows in found.items()
            if table.partition("-")[0] == name
            for row in rows
            for cell in row.values()
        ]
        # A list of plain values is one cell.
        wanted = leaves(export[name])
        lists = {"ashwater"} if name == "clutches" else set()
        assert [one for one in wanted if one not in cells and one.lower() not in lists] == []


def test_export__csv_has_a_table_for_each_list_of_objects(keeper):
    found = tables(keeper)
    assert list(found) == [
        "keeper",
        "tokens",
        "animals",
        "pairings",
        "clutches",
        "clutches-hatchlings",
        "clutches-hatchlings-or",
        "revisions",
        "revisions-hatchlings",
        "revisions-hatchlings-or",
        "opinions",
        "duplicates",
        "holds",
        "drafts",
    ]
    (head,) = found["keeper"]
    assert head["keeper"] == keeper.keeper
    second = found["clutches"][1]
    assert (second["eggs.laid"], second["eggs.died"]) == ("9", "")
    assert second["sire.animal"] == "m-1"
    assert json.loads(second["sire.unproven"]) == ["Ashwater"]
    hatchlings = [one for one in found["clutches-hatchlings"] if one["clutches.id"] == second["id"]]
    assert [(one["place"], one["call"], one["count"]) for one in hatchlings] == [
        ("0", "normal", "3"),
        ("1", "ashwater", "1"),
    ]
    others = found["clutches-hatchlings-or"]
    assert [
        (one["clutches.id"], one["clutches-hatchlings.place"], one["place"], one["reading"])
        for one in others
    ] == [(second["id"], "1", "0", "Pale Reed"), (second["id"], "1", "1", "Quillback")]
    assert found["tokens"][1]["label"] == "m-1; \"quoted\", 'too'"
    assert found["animals"][2]["label"] == "m-1 \u00e4\n=1+1"


@pytest.mark.parametrize("first", ["=", "+", "-", "@", "\uff1d"])
def test_export__hands_no_formula_of_another_keeper_to_a_spreadsheet(first):
    """A second opinion that was taken over brings its words into the owner's tables."""
    gecko()
    owner, other = joined(), joined()
    words = f'{first}HYPERLINK("http://elsewhere.example")'
    made = owner.post("clutches/", clutch(clutch_code="shelf", hatchlings=[group("normal", 6)]))
    said = {"species": GECKO, "season": 2025, "clutch_code": "shelf", "basis": words}
    said["hatchlings"] = [group("normal", 5), group("ashwater", 1)]
    opinion = other.post("second-opinions/", said, status=201)
    path = f"clutches/{made['id']}/revisions/"
    taken = owner.send("post", path, {"opinion": opinion["id"]}, headers=ANY_STATE)
    assert taken.status_code == 201, taken.content
    assert owner.get("keepers/me/export/")["revisions"][-1]["basis"] == words
    assert tables(owner)["revisions"][-1]["basis"] == f"'{words}"


def test_export__takes_the_form_from_accept_where_none_is_named(keeper):
    assert tables(keeper, headers={"Accept": "application/zip"})["keeper"]
    response = keeper.send(
        "get", "keepers/me/export/", headers={"Accept": "application/zip"}, query={"form": "json"}
    )
    assert response.json()["keeper"] == keeper.keeper
    problem = keeper.refused("get", "keepers/me/export/", query={"form": "xml"})
    assert problem["errors"][0]["parameter"] == "form"
    assert "'xml'" in problem["detail"]


def test_export__of_a_new_keeper_has_empty_parts():
    keeper = joined()
    export = keeper.get("keepers/me/export/")
    assert [len(export[name]) for name in PARTS] == [1] + [0] * 8
    assert {name: len(rows) for name, rows in tables(keeper).items()} == {
        "keeper": 1,
        "tokens": 1,
        "animals": 0,
        "pairings": 0,
        "clutches": 0,
        "revisions": 0,
        "opinions": 0,
        "duplicates": 0,
        "holds": 0,
        "drafts": 0,
    }


def test_export__parts_are_those_that_are_documented():
    assert list(ExportSerializer().fields) == ["keeper", "joined_on", "exported_on", *PARTS]


@pytest.mark.parametrize("form", ["json", "csv"])
def test_export__statements_do_not_grow_with_the_rows(keeper, form):
    few = counted(keeper, "get", "keepers/me/export/", query={"form": form})
    for n in range(12):
        fill(keeper, label=f"m-{n + 2}")
        if n < 9:
            continue
        assert counted(keeper, "get", "keepers/me/export/", query={"form": form}) == few


@pytest.mark.parametrize("write", [export_json, export_zip])
def test_export__memory_does_not_grow_with_the_rows(monkeypatch, write):
    """Forty times the rows, in a part made up for this; the memory at most half as much again."""
    keeper = Keeper(recovery_sha256="", joined_at=exporting.dt.datetime(2026, 5, 31))
    peaks = []
    for n_rows in (500, 20_000):

        def rows(_keeper: Keeper, n_rows: int = n_rows) -> exporting.Rows:
            return ({"id": n, "text": f"{n:0100}", "inner": [{"of": n}]} for n in range(n_rows))

        monkeypatch.setattr(exporting, "PARTS", {"rows": rows})
        monkeypatch.setattr(exporting, "_IN_MEMORY", 1_000)
        monkeypatch.setattr("registry.records.tables._IN_MEMORY", 1_000)
        tracemalloc.start()
        made = write(keeper)
        peaks.append(tracemalloc.get_traced_memory()[1])
        tracemalloc.stop()
        assert made.n_bytes > n_rows
        made.close()
    assert peaks[1] < 1.5 * peaks[0] + 200_000


@pytest.mark.django_db(transaction=True)
def test_export__that_fails_is_answered_as_a_fault_and_holds_no_transaction(monkeypatch):
    gecko()
    keeper = joined()
    fill(keeper)

    def broken(_keeper: Keeper) -> Any:
        yield {"id": 1}
        raise RuntimeError("the power went")

    monkeypatch.setattr(exporting, "PARTS", {**PARTS, "tokens": broken})
    assert keeper.refused("get", "keepers/me/export/")["code"] == "server-error"
    assert not connection.in_atomic_block


@pytest.mark.django_db(transaction=True)
def test_export__shows_one_moment(monkeypatch):
    """A clutch that is reported while the export is written is in none of its parts."""
    gecko()
    keeper = joined()
    fill(keeper)
    levels = []

    def late(of: Keeper) -> Any:
        with connection.cursor() as cursor:
            cursor.execute("SHOW transaction_isolation")
            levels.append(cursor.fetchone()[0])
            cursor.execute("SHOW transaction_read_only")
            levels.append(cursor.fetchone()[0])
        return PARTS["clutches"](of)

    monkeypatch.setattr(exporting, "PARTS", {**PARTS, "clutches": late})
    assert keeper.get("keepers/me/export/")["clutches"]
    assert levels == ["repeatable read", "on"]
    with connection.cursor() as cursor:
        cursor.execute("SHOW transaction_isolation")
        assert cursor.fetchone() == ("read committed",)


@pytest.mark.parametrize("read", ["all", "nothing"])
def test_export__is_closed_after_it_was_sent_or_given_up(keeper, read):
    made = export_json(Keeper.objects.get(pk=keeper.keeper))
    if read == "all":
        assert len(b"".join(made)) == made.n_bytes
    else:
        made.close()
    assert made.file.closed
