"""Many clutches at once over HTTP: JSON lines and tables, good and bad lines side by side."""

from __future__ import annotations

import csv
import io
import json
import tracemalloc
from typing import Any

import pytest
import time_machine
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from registry.catalogue.services import catalogue_load
from registry.clutches.api import bulk_answers
from registry.clutches.api.bulk_answers import AnsweredUpload
from registry.clutches.bulk.columns import COLUMNS
from registry.clutches.bulk.template import template_text
from registry.clutches.bulk.uploads import JsonLinesUpload, TableUpload, taken_in
from registry.clutches.choices import MAX_BULK_CLUTCHES, MAX_LINE_BYTES
from registry.clutches.models import Clutch
from registry.clutches.services.reporting import clutch_report
from registry.errors import IncompleteBodyError, TooManyLinesError
from tests.factories.registry import (
    FIXTURES,
    GECKO,
    Api,
    clutch,
    gecko,
    group,
    joined,
    lines_of,
    parent,
    stored,
    told,
)

pytestmark = pytest.mark.django_db

GOOD = clutch()


@pytest.fixture(autouse=True)
def _species():
    gecko()


@pytest.fixture
def keeper() -> Api:
    return joined()


def table(*rows: dict[str, Any], separator: str = ",", columns: Any = COLUMNS) -> str:
    written = io.StringIO()
    writer = csv.DictWriter(written, columns, restval="", delimiter=separator)
    writer.writeheader()
    writer.writerows(rows)
    return written.getvalue()


def row(**more: Any) -> dict[str, Any]:
    return {
        "species": GECKO,
        "season": 2025,
        "sire": "het ashwater",
        "dam": "het ashwater",
        "hatchlings": "5 normal; 1 ashwater",
        **more,
    }


def statuses(answers: list[dict[str, Any]]) -> list[tuple[int, int]]:
    return [(one["line"], one["status"]) for one in answers[:-1]]


# --- good and bad side by side ------------------------------------------------------------------


def test_bulk__answers_each_line_and_keeps_the_good_ones(keeper):
    before = stored()
    answers = keeper.bulk([GOOD, clutch(season=1900), GOOD | {"clutch_code": "a"}])
    assert statuses(answers) == [(1, 201), (2, 400), (3, 201)]
    assert answers[-1] == {"summary": {"lines": 3, "accepted": 2, "refused": 1}}
    assert stored()["clutches.Clutch"] - before["clutches.Clutch"] == 2
    kept = {one["id"] for one in keeper.get("clutches/")["results"]}
    assert kept == {answers[0]["clutch"], answers[2]["clutch"]}


def test_bulk__refuses_a_line_as_the_call_for_one_clutch_does(keeper):
    for bad in (clutch(season=1900), clutch("quilback"), {"species": GECKO}, 5, clutch(colour="x")):
        (answer, _summary) = keeper.bulk([bad])
        alone = keeper.refused("post", "clutches/", bad)
        assert answer["problem"].pop("instance") == "/api/v1/clutches/bulk/"
        assert alone.pop("instance") == "/api/v1/clutches/"
        assert answer == {"line": 1, "status": 400, "problem": alone}


def test_bulk__stores_what_the_call_for_one_clutch_stores(keeper):
    body = clutch(
        parent("reed het ashwater", "m-07", unproven=["pale reed"]),
        parent("het pale reed"),
        [group("pale reed", 4, sex="female"), group("normal", 1, "reed", basis="first shed")],
        eggs={"laid": 9, "died": 2},
        clutch_code="shelf 3",
    )
    alone = keeper.post("clutches/", body)
    keeper.delete(f"clutches/{alone['id']}/")
    (answer, _summary) = keeper.bulk([body])
    many = keeper.get(f"clutches/{answer['clutch']}/")
    own = ("id", "reported_at")
    assert {key: v for key, v in many.items() if key not in own} == {
        key: v for key, v in alone.items() if key not in own
    }


def test_bulk__counts_in_the_pools_like_single_reports(keeper):
    other = joined()
    bodies = [clutch(hatchlings={"normal": n}) for n in range(1, 6)]
    keeper.bulk(bodies)
    many = Api().combination("ashwater")
    for one in keeper.get("clutches/")["results"]:
        keeper.delete(f"clutches/{one['id']}/")
    for body in bodies:
        other.post("clutches/", body)
    assert Api().combination("ashwater") == many
    assert many["tried"]["hatchlings"] == 15


def test_bulk__tells_which_entries_contradict_the_parents(keeper):
    (answer, _summary) = keeper.bulk(
        [clutch(hatchlings=[group("normal", 3), group("tidemark", 2)])]
    )
    assert answer["contradicts_parents"] == 1
    assert answer["contradictions"] == [
        {
            "entry": 2,
            "call": "tidemark",
            "count": 2,
            "reason": "Tidemark can not come from these parents, which give a normal look there.",
        }
    ]


@pytest.mark.parametrize(
    ("line", "code", "said"),
    [
        (b'{"species": ', "not-json", "The line is not JSON: Expecting value at character 13."),
        (b"{'a': 1}", "not-json", "at character 2. One whole clutch is expected in each line."),
        (b'{"season": NaN}', "not-json", "The line is not JSON: NaN is no number of JSON."),
        (b'{"a": 1, "a": 2}', "not-json", "The line has the name 'a' twice in one object."),
        (b'{"a": "\xff"}', "not-json", "The line is not UTF-8: byte 8 begins no character."),
        (b"[" * 60_000, "not-json", "The line is nested too deep to be read."),
        (b'{"species": "\\u0000"}', "unreadable-characters", "Character 1 of the text is U+0000"),
        (b"[]", "invalid-body", "Read a list, expected an object."),
        (b'"' + b"a" * MAX_LINE_BYTES, "line-too-long", f"more than the {MAX_LINE_BYTES} bytes"),
    ],
)
def test_bulk__a_broken_line_of_json_is_told_and_costs_no_other(keeper, line, code, said):
    good = json.dumps(GOOD).encode()
    answers = keeper.bulk(b"\xef\xbb\xbf" + good + b"\r\n\n \n" + line + b"\n" + good)
    assert statuses(answers) == [(1, 201), (4, 400), (5, 201)]
    assert answers[1]["problem"]["code"] == code
    assert said in answers[1]["problem"]["detail"]
    assert Clutch.objects.count() == 2


def test_bulk__a_line_as_long_as_allowed_is_read(keeper):
    good = json.dumps(GOOD).encode()
    full = good + b" " * (MAX_LINE_BYTES - len(good))
    assert statuses(keeper.bulk(full + b"\r\n" + full + b" \n")) == [(1, 201), (2, 400)]


# --- tables -------------------------------------------------------------------------------------


def test_bulk__the_template_is_accepted_as_it_is_downloaded(keeper):
    response = Api().send("get", "clutches/bulk/template/")
    assert response.headers["Content-Disposition"] == 'attachment; filename="clutches.csv"'
    answers = keeper.bulk(response.content, "text/csv")
    assert statuses(answers) == [(2, 201), (3, 201), (6, 201)]
    assert [one["contradicts_parents"] for one in answers[:-1]] == [0, 0, 0]
    clutches = {one["id"]: one for one in keeper.get("clutches/")["results"]}
    first, second, third = (clutches[one["clutch"]] for one in answers[:-1])
    assert first["sire"] == {
        "genes": "Pale Reed het Ashwater",
        "animal": "m-07",
        "unproven": ["Pale Reed"],
    }
    assert first["eggs"] == {"laid": 14, "infertile": 1, "died": 2}
    assert first["hatchlings"][2]["basis"] == "first shed"
    assert [one["reading"] for one in second["hatchlings"]] == ["Tidemark", "Floodmark", "Normal"]
    assert third["hatchlings"] == []


def test_template__is_the_file_of_the_documentation_and_has_every_column():
    text = template_text()
    assert (FIXTURES / "bulk" / "clutches.csv").read_bytes() == text.encode()
    rows = list(csv.DictReader(io.StringIO(text)))
    assert tuple(rows[0]) == COLUMNS
    used = {name for one in rows for name, cell in one.items() if cell}
    # What else a column takes is in the README of the folder.
    assert set(COLUMNS) - used == {"dam_unproven", "pairing"}
    documented = (FIXTURES / "bulk" / "README.md").read_text()
    assert [name for name in COLUMNS if f"`{name}`" not in documented] == []


@pytest.mark.parametrize("separator", [",", ";", "\t"])
def test_bulk__reads_tables_of_every_separator(keeper, separator):
    text = table(row(hatchlings="3 normal, 66% het reed;\n2 ashwater"), row(), separator=separator)
    answers = keeper.bulk("\ufeff" + text, "text/csv; charset=UTF-8")
    assert statuses(answers) == [(2, 201), (4, 201)]


def test_bulk__takes_headers_in_other_spelling_and_the_remains_of_a_spreadsheet(keeper):
    text = "Clutch Code;SPECIES;season;Sire;dam;hatchlings;;\r\n"
    text += f"a;{GECKO};2025;ashwater;normal;;;\r\n;;;;;;;\r\n"
    text += f'b;{GECKO};2025;ashwater;normal;"1 normal";;\r\n'
    answers = keeper.bulk(text, "text/csv")
    assert statuses(answers) == [(2, 400), (4, 201)]
    assert answers[0]["problem"]["code"] == "empty-clutch"
    assert keeper.get("clutches/")["results"][0]["clutch_code"] == "b"


def test_bulk__brackets_of_a_gene_name_are_no_basis(keeper):
    catalogue_load(FIXTURES / "catalogue" / "ball-python.json")
    genes = "axanthic (VPI)"
    one = row(species="ball-python", sire=genes, dam=genes, hatchlings=f"2 {genes} (first shed)")
    (answer, _summary) = keeper.bulk(table(one), "text/csv")
    hatched = keeper.get(f"clutches/{answer['clutch']}/")["hatchlings"][0]
    assert (hatched["reading"], hatched["basis"]) == ("Axanthic (VPI)", "first shed")


BAD_CELLS = [
    ({"season": "2025.0"}, ("season", None), "Read '2025.0', expected a whole number"),
    ({"season": "1900"}, ("season", None), "The season is 1900"),
    ({"season": ""}, ("season", None), "The field is missing."),
    ({"species": "gecko"}, ("species", None), "The catalogue has no species 'gecko'."),
    ({"sire": ""}, ("sire", None), "The field is missing."),
    ({"sire": "", "sire_animal": "m"}, ("sire", None), "The field is missing."),
    ({"dam": "quilback"}, ("dam", None), "Did you mean Quillback?"),
    ({"dam_animal": "m" * 61}, ("dam_animal", None), "Read a text of 61 characters"),
    (
        {"sire_unproven": "ashwater, normal"},
        ("sire_unproven", 2),
        "'normal' names no gene; one gene is expected here.",
    ),
    ({"laid": "many"}, ("laid", None), "Read 'many', expected a whole number"),
    ({"laid": "3"}, ("laid", None), "3 eggs laid, but 0 never developed"),
    ({"died": "-1"}, ("died", None), "Read -1, expected a whole number"),
    ({"laid": "301"}, ("laid", None), "301 eggs are more than the 300"),
    ({"hatchlings": "1 normal; ashwater"}, ("hatchlings", 2), "'ashwater' begins with no count"),
    ({"hatchlings": "1 normal\n1 quilback"}, ("hatchlings", 2), "Did you mean Quillback?"),
    ({"hatchlings": "1 normal or quilback"}, ("hatchlings", 1), "Did you mean Quillback?"),
    ({"hatchlings": "0 normal"}, ("hatchlings", 1), "Read 0, expected a whole number from 1"),
    ({"hatchlings": "301 normal"}, ("hatchlings", None), "301 hatchlings are more than the 300"),
    ({"pairing": "x"}, ("pairing", None), "the id of a pairing that you declared"),
    ({"clutch_code": "x" * 41}, ("clutch_code", None), "Read a text of 41 characters"),
    ({"clutch_code": "a\x00"}, ("clutch_code", None), "Character 2 of the text is U+0000"),
]


@pytest.mark.parametrize(("cells", "place", "said"), BAD_CELLS)
def test_bulk__tells_line_column_and_cell_of_a_fault(keeper, cells, place, said):
    before = stored()
    given = row(**cells)
    answers = keeper.bulk(table(given, row()), "text/csv")
    problem = answers[0]["problem"]
    assert answers[1]["status"] == 201
    (fault,) = problem["errors"]
    column, entry = place
    assert (fault["column"], fault.get("entry")) == (column, entry)
    assert (fault["cell"] or "") == str(given.get(column, ""))
    assert "pointer" not in fault
    assert said in fault["detail"]
    where = f"column {column}" + (f", entry {entry}" if entry else "")
    assert problem["detail"] == f"{where}: {fault['detail']}"
    assert problem["column"] == column
    assert stored()["clutches.Clutch"] - before["clutches.Clutch"] == 1


def test_bulk__tells_all_faults_of_a_row_at_once(keeper):
    one = row(season="x", sire_animal="a" * 61, hatchlings="normal; 2 normal; 2x reed")
    (answer, _summary) = keeper.bulk(table(one), "text/csv")
    assert [(one["column"], one.get("entry")) for one in answer["problem"]["errors"]] == [
        ("hatchlings", 1),
        ("hatchlings", 3),
        ("sire_animal", None),
        ("season", None),
    ]


def test_bulk__names_columns_as_the_file_does(keeper):
    text = table(row(), columns=list(row())).replace("sire", "SIRE").replace("2025", "1900")
    (answer, _summary) = keeper.bulk(text, "text/csv")
    assert answer["problem"]["column"] == "season"
    (answer, _summary) = keeper.bulk(text.replace("season,SIRE", "Season,SIRE"), "text/csv")
    assert answer["problem"]["column"] == "Season"


@pytest.mark.parametrize(
    ("text", "n_cells", "told"),
    [
        ("{0}", 1, "1 cell"),
        ("{0},2025,normal,normal", 4, "4 cells"),
        ("{0},2025,normal,normal,1 normal,x", 6, "6 cells"),
    ],
)
def test_bulk__a_row_of_too_few_or_many_cells_is_refused_alone(keeper, text, n_cells, told):
    header = "species,season,sire,dam,hatchlings\n"
    good = f"{GECKO},2025,normal,normal,1 normal\n"
    answers = keeper.bulk(header + good + text.format(GECKO) + "\n" + good, "text/csv")
    assert statuses(answers) == [(2, 201), (3, 400), (4, 201)]
    problem = answers[1]["problem"]
    assert problem["code"] == "unreadable-table"
    assert f"The row has {told}, expected 5" in problem["detail"]
    assert (problem["cells"], problem["columns"]) == (n_cells, 5)


def test_bulk__a_table_may_name_declared_pairings_instead_of_parents(keeper):
    said = {"species": GECKO, "season": 2025, "sire": parent("reed", "m"), "dam": parent("reed")}
    with time_machine.travel("2025-02-03T04:05:06Z"):
        declared = keeper.post("pairings/", said)
    columns = ["species", "season", "hatchlings", "pairing"]
    rows = [dict(zip(columns, (GECKO, 2025, "4 reed", one), strict=True)) for one in ("", "x")]
    rows.append(rows[0] | {"pairing": declared["id"]})
    answers = keeper.bulk(table(*rows, columns=columns), "text/csv")
    assert [one["status"] for one in answers[:-1]] == [400, 400, 201]
    assert [one["column"] for one in answers[0]["problem"]["errors"]] == ["sire", "dam"]
    assert keeper.get(f"clutches/{answers[2]['clutch']}/")["declared"] is True


# --- the upload as a whole ----------------------------------------------------------------------


def refused(keeper: Api, content: bytes | str, content_type: str, **given: Any) -> dict[str, Any]:
    """The problem of an upload that was refused as a whole; nothing was stored."""
    before = stored()
    content = content.encode() if isinstance(content, str) else content
    problem = keeper.refused(
        "post", "clutches/bulk/", content=content, content_type=content_type, **given
    )
    assert stored() == before
    return problem


def test_bulk__refuses_columns_before_anything_is_stored(keeper):
    text = table(row()).replace("clutch_code", "shelf").replace("dam_animal", "dam_anmal")
    text = text.replace("season", "laid").replace("dam,", ",")
    problem = refused(keeper, text, "text/csv")
    assert [(one["code"], one["column"]) for one in problem["errors"]] == [
        ("unreadable-table", ""),
        ("unknown-column", "dam_anmal"),
        ("unreadable-table", "laid"),
        ("unknown-column", "shelf"),
        ("missing-column", "season"),
    ]
    assert problem["errors"][1]["suggestions"] == ["dam_animal"]
    said = [one["detail"] for one in problem["errors"]]
    assert said[0] == "Column 6 has no name in the header."
    assert said[1].endswith("Did you mean dam_animal?")
    assert said[2] == "The header has the column 'laid' twice."


def test_bulk__a_table_without_a_parent_needs_pairings(keeper):
    columns = ["species", "season", "sire", "hatchlings"]
    problem = refused(keeper, table({"species": GECKO}, columns=columns), "text/csv")
    assert problem["detail"] == (
        "The column 'dam' (or the column 'pairing') is missing; the header has at least species, "
        "season, hatchlings, sire and dam."
    )


@pytest.mark.parametrize("content", [b"", b"\n \r\n"])
@pytest.mark.parametrize("kind", ["application/jsonl", "application/x-ndjson", "text/csv"])
def test_bulk__refuses_an_empty_body(keeper, kind, content):
    assert "clutch" in refused(keeper, content, kind)["detail"]


def test_bulk__refuses_a_table_without_rows(keeper):
    problem = refused(keeper, table(), "text/csv")
    assert problem["detail"].startswith("The body holds no clutch; expected a table with a header")


@pytest.mark.parametrize("kind", ["application/jsonl", "text/csv"])
def test_bulk__refuses_more_clutches_than_one_upload_may_hold(keeper, kind):
    if kind == "text/csv":
        n_header, line = 1, "a,b,c,d,e\n"
        content = "species,season,sire,dam,hatchlings\n" + line * (MAX_BULK_CLUTCHES + 1)
    else:
        n_header, line = 0, "{}\n"
        content = line * (MAX_BULK_CLUTCHES + 1)
    problem = refused(keeper, content, kind)
    assert (problem["code"], problem["status"]) == ("too-many-lines", 413)
    assert problem["limit"] == MAX_BULK_CLUTCHES == 5000
    allowed = content[: -len(line)] + "\n\n"
    assert len(keeper.bulk(allowed, kind)) == MAX_BULK_CLUTCHES + 1
    assert content.count("\n") == MAX_BULK_CLUTCHES + 1 + n_header


@pytest.mark.parametrize(
    ("content_type", "given", "code"),
    [
        ("application/json", {}, "unsupported-media-type"),
        ("text/csv", {"headers": {"Content-Encoding": "gzip"}}, "unsupported-media-type"),
        ("text/csv; charset=windows-1252", {}, "unreadable-characters"),
        ("text/csv", {"query": {"validate_only": "yes"}}, "invalid-parameter"),
        ("text/csv", {"query": {"validate-only": "true"}}, "unknown-parameter"),
        ("text/csv", {"headers": {"Accept": "application/json"}}, "not-acceptable"),
    ],
)
def test_bulk__refuses_calls_of_another_form(keeper, content_type, given, code):
    assert refused(keeper, table(row()), content_type, **given)["code"] == code


def test_bulk__needs_a_token_before_it_takes_anything():
    assert refused(Api(), table(row()), "text/csv")["code"] == "not-authenticated"


def test_bulk__answers_in_the_form_that_is_asked_for(keeper):
    for kind in ("application/jsonl", "application/x-ndjson"):
        response = keeper.send(
            "post",
            "clutches/bulk/",
            content=table(row()).encode(),
            content_type="text/csv",
            headers={"Accept": kind},
        )
        assert response.headers["Content-Type"] == kind
        assert response.headers["X-Accel-Buffering"] == "no"
        assert lines_of(response)[-1] == {"summary": {"lines": 1, "accepted": 1, "refused": 0}}


def test_taken_in__refuses_a_body_that_was_cut_off():
    with pytest.raises(IncompleteBodyError, match="ended after 5 bytes, expected 6"):
        taken_in(io.BytesIO(b"12345"), 6)
    with taken_in(io.BytesIO(b"12345"), 5) as taken:
        assert taken.tell() == 5

    class Gone(io.BytesIO):
        def read(self, size: int | None = -1, /) -> bytes:
            raise ConnectionResetError

    with pytest.raises(IncompleteBodyError, match="ended after 0 bytes"):
        taken_in(Gone(), None)


# --- validate_only ------------------------------------------------------------------------------

TANGLED = [
    clutch(parent("het ashwater", "a"), parent("het ashwater", "b")),
    clutch(parent("het ashwater", "b"), parent("het ashwater", "c")),
    clutch(parent("het ashwater", "c"), parent("het ashwater", "b")),
    clutch(parent("het ashwater", "a"), parent("het ashwater", "a")),
    clutch(season=1900, sire=parent("het ashwater", "d")),
    clutch(parent("het ashwater"), parent("het ashwater", "d")),
    clutch(hatchlings={"tidemark": 3}),
    {"species": GECKO},
]
"""Lines that are refused for what lines before them said, and one that a refused line allows."""


def test_validate_only__stores_nothing_and_refuses_what_would_be_refused(keeper):
    keeper.post("clutches/", clutch(parent("het ashwater", "known"), parent("normal")))
    bodies = [*TANGLED, clutch("het ashwater", parent("het ashwater", "known"))]
    before = stored()
    tried = keeper.bulk(bodies, validate_only="true")
    assert stored() == before
    assert [one["status"] for one in tried[:-1]] == [200, 400, 200, 400, 400, 200, 200, 400, 400]
    real = keeper.bulk(bodies, validate_only="false")
    for one, other in zip(tried[:-1], real[:-1], strict=True):
        if one["status"] == 200:
            assert (one["clutch"], other["status"]) == (None, 201)
            assert one["contradictions"] == other["contradictions"]
        else:
            assert one == other
    assert tried[-1] == real[-1]


def test_validate_only__tells_of_own_copies_and_of_shared_codes_alone(keeper):
    """Trying all seasons and eggs would tell those of somebody's clutch, and leave no trace."""
    rare = {"ashwater": 3, "tidemark": 2, "normal": 3, "ashwater tidemark": 1}
    body = clutch(
        parent("ashwater tidemark", "m"),
        parent("het ashwater", "f"),
        hatchlings=rare,
        eggs={"laid": 12, "infertile": 2, "died": 1},
    )
    coded = body | {"clutch_code": "shelf 3"}
    keeper.post("clutches/", coded)
    other = joined()
    for bodies, foretold, held in (
        ([body], None, "duplicate"),
        ([coded], "duplicate", "duplicate"),
    ):
        assert other.bulk(bodies, validate_only="true")[0]["held"] == foretold
        assert other.bulk(bodies)[0]["held"] == held
    assert keeper.bulk([body], validate_only="true")[0]["held"] == "duplicate"


def test_validate_only__tells_column_and_line_of_an_animal_of_another_line(keeper):
    text = table(row(sire_animal="a"), row(dam_animal="a"))
    answers = keeper.bulk(text, "text/csv", validate_only="true")
    assert statuses(answers) == [(2, 200), (3, 400)]
    assert answers[1]["problem"]["column"] == "dam_animal"
    assert "You reported 'a' as a male before" in answers[1]["problem"]["detail"]
    assert Clutch.objects.count() == 0


# --- sent again, and caps -----------------------------------------------------------------------


def sent(keeper: Api, content: str, kind: str = "application/jsonl", **query: str) -> Any:
    """Answers to an upload with a key."""
    response = keeper.send(
        "post",
        "clutches/bulk/",
        content=content.encode(),
        content_type=kind,
        headers={"Idempotency-Key": "upload-1"},
        query=query,
    )
    assert response.status_code == 200, response.content
    return lines_of(response)


def test_bulk__sent_again_with_its_key_goes_on_where_it_ended(keeper):
    lines = [json.dumps(GOOD | {"clutch_code": str(n)}) + "\n" for n in range(5)]
    begun = sent(keeper, "".join(lines[:3]))
    whole = sent(keeper, "".join(lines))
    assert whole[:3] == begun[:3]
    assert statuses(whole) == [(n, 201) for n in range(1, 6)]
    assert sent(keeper, "".join(lines)) == whole
    assert Clutch.objects.count() == 5
    keeper.bulk("".join(lines))
    assert Clutch.objects.count() == 10


def test_bulk__a_refused_line_is_corrected_under_the_same_key_and_a_stored_one_is_not(keeper):
    first = sent(keeper, table(row(), row(sire="quilback"), row(season=2024)), "text/csv")
    assert statuses(first) == [(2, 201), (3, 400), (4, 201)]
    fixed = table(row(), row(sire="quillback"), row(season=2023), separator=";")
    again = sent(keeper, fixed, "text/csv")
    assert statuses(again) == [(2, 201), (3, 201), (4, 422)]
    assert again[0] == first[0]
    assert again[2]["problem"]["code"] == "idempotency-key-reused"
    assert Clutch.objects.count() == 3


def test_bulk__a_key_is_that_of_one_keeper_and_not_used_up_by_a_trial(keeper):
    line = json.dumps(GOOD)
    assert statuses(sent(keeper, line, validate_only="true")) == [(1, 200)]
    assert statuses(sent(keeper, line)) == [(1, 201)]
    assert statuses(sent(joined(), line)) == [(1, 201)]
    assert Clutch.objects.count() == 2
    assert keeper.send("post", "clutches/", GOOD, headers={"Idempotency-Key": "upload-1"})
    assert Clutch.objects.count() == 3


def test_bulk__counts_towards_the_cap_of_a_day_and_a_trial_tells_it(keeper, settings):
    settings.BROODCOUNT_RATE_LIMITS = True
    settings.BROODCOUNT_DAILY_CLUTCHES = 3
    keeper.post("clutches/", GOOD)
    bodies = [GOOD, clutch(season=1900), GOOD, GOOD]
    tried = keeper.bulk(bodies, validate_only="true")
    assert [one["status"] for one in tried[:-1]] == [200, 400, 200, 429]
    real = keeper.bulk(bodies)
    assert [one["status"] for one in real[:-1]] == [201, 400, 201, 429]
    assert real[3]["problem"]["code"] == "too-many-requests"
    assert real[3]["problem"]["code"] == tried[3]["problem"]["code"]
    assert Clutch.objects.count() == 3


# --- cut off, and failures ----------------------------------------------------------------------


def test_bulk__a_failure_of_the_service_costs_one_line(keeper, monkeypatch, caplog):
    def failing(owner: Any, body: Any) -> Any:
        if body["clutch_code"] == "secret shelf":
            raise ZeroDivisionError
        return clutch_report(owner, body)

    monkeypatch.setattr(bulk_answers, "clutch_report", failing)
    answers = keeper.bulk([GOOD | {"clutch_code": one} for one in ("a", "secret shelf", "c")])
    assert statuses(answers) == [(1, 201), (2, 500), (3, 201)]
    assert answers[1]["problem"]["code"] == "server-error"
    assert "ZeroDivisionError" in caplog.text
    assert "secret shelf" not in caplog.text + json.dumps(answers[1])


def test_bulk__a_keeper_who_left_meanwhile_stores_nothing(keeper):
    content = "\n".join([json.dumps(GOOD)] * 3).encode()
    response = keeper.client.post(
        "/api/v1/clutches/bulk/",
        content,
        content_type="application/jsonl",
        headers={"Authorization": f"Bearer {keeper.token}"},
    )
    answered = iter(response.streaming_content)
    first = json.loads(next(answered))
    keeper.delete(f"clutches/{first['clutch']}/")
    keeper_gone(keeper)
    rest = [json.loads(line) for line in answered]
    assert [one["status"] for one in rest[:-1]] == [401, 401]
    assert rest[-1]["summary"] == {"lines": 3, "accepted": 1, "refused": 2}


def keeper_gone(keeper: Api) -> None:
    from registry.keepers.models import Keeper  # noqa: PLC0415 - not part of the interface

    Keeper.objects.filter(pk=keeper.keeper).delete()


# --- size ---------------------------------------------------------------------------------------


@pytest.mark.parametrize("kind", [JsonLinesUpload, TableUpload])
def test_upload__memory_is_that_of_a_few_lines_however_long_the_file(kind):
    """25 MB of lines are checked and answered; Python's own count of what it holds at most."""
    wide = "x" * 5_000
    if kind is TableUpload:
        lines = ["species,season,sire,dam,hatchlings\n"]
        lines += [f'{GECKO},2025,normal,normal,"{wide}"\n'] * MAX_BULK_CLUTCHES
    else:
        lines = [json.dumps({"species": wide}) + "\n"] * MAX_BULK_CLUTCHES
    body = io.BytesIO("".join(lines).encode())
    assert body.getbuffer().nbytes > 25_000_000
    tracemalloc.start()
    try:
        upload = kind(taken_in(body, body.getbuffer().nbytes))
        upload.check()
        answered = AnsweredUpload(
            upload, lambda line: {"line": line.number, "of": line.content[:9]}
        )
        assert sum(1 for _line in answered) == MAX_BULK_CLUTCHES + 1
        answered.close()
        _now, most = tracemalloc.get_traced_memory()
    finally:
        tracemalloc.stop()
    assert most < 3_000_000


def test_upload__stops_counting_at_one_too_many():
    body = io.BytesIO(b"{}\n" * 1_000_000)
    upload = JsonLinesUpload(taken_in(body, None))
    with pytest.raises(TooManyLinesError):
        upload.check()
    assert upload.file.tell() < 1_000_000
    upload.close()
    assert upload.file.closed


# --- one clutch, two forms ----------------------------------------------------------------------

CALLS = ("normal", "ashwater", "pale reed", "super tidemark", "tidemark x2", "ashwater, reed")
BASES = st.sampled_from([None, "first shed", "egg; dark"])


@st.composite
def bodies(draw: Any) -> dict[str, Any]:
    """Bodies of clutches whose every part a table can say."""
    hatchlings = []
    for _entry in range(draw(st.integers(1, 4))):
        # Two ways to write one look are no two readings of a call.
        different = {"unique_by": lambda text: text.replace("tidemark x2", "super tidemark")}
        call, *others = draw(st.lists(st.sampled_from(CALLS), min_size=1, max_size=3, **different))
        one = group(call, draw(st.integers(1, 9)), *others)
        sex, basis = draw(st.sampled_from([None, "male", "female"])), draw(BASES)
        hatchlings.append(one | ({"sex": sex} if sex else {}) | ({"basis": basis} if basis else {}))
    eggs = draw(st.sampled_from([None, {"laid": 60}, {"laid": 80, "infertile": 2, "died": 3}]))
    parents = {
        role: {"genes": draw(st.sampled_from(["ashwater reed", "66% het reed, het ashwater"]))}
        | draw(st.sampled_from([{}, {"animal": f"{role}, one"}, {"unproven": ["ashwater"]}]))
        for role in ("sire", "dam")
    }
    code = draw(st.sampled_from([None, "shelf 3", 'row "7"; left']))
    body: dict[str, Any] = {"species": GECKO, "season": draw(st.integers(2000, 2025)), **parents}
    body["hatchlings"] = hatchlings
    return body | ({"eggs": eggs} if eggs else {}) | ({"clutch_code": code} if code else {})


def as_row(body: dict[str, Any]) -> dict[str, Any]:
    """The row that says the same; written by hand here, the service only reads."""
    entries = []
    for one in body["hatchlings"]:
        words = [
            str(one["count"]),
            one.get("sex", ""),
            " or ".join([one["call"], *one.get("or", [])]),
        ]
        words.append(f"({one['basis']})" if "basis" in one else "")
        entries.append(" ".join(filter(None, words)))
    cells: dict[str, Any] = {name: body[name] for name in ("species", "season")}
    for role in ("sire", "dam"):
        cells |= {
            role: body[role]["genes"],
            f"{role}_animal": body[role].get("animal", ""),
            f"{role}_unproven": ", ".join(body[role].get("unproven", [])),
        }
    cells |= body.get("eggs", {})
    return cells | {"hatchlings": "; ".join(entries), "clutch_code": body.get("clutch_code", "")}


@settings(
    max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(body=bodies(), separator=st.sampled_from(",;\t"))
def test_bulk__a_row_stores_what_the_body_stores(body, separator):
    by_row, by_body = joined(), joined()
    answer = by_row.bulk(table(as_row(body), separator=separator), "text/csv")[0]
    assert answer["status"] == 201, answer
    (kept,) = by_row.get("clutches/")["results"]
    by_row.delete(f"clutches/{kept['id']}/")
    alone = by_body.post("clutches/", body)
    own = ("id", "reported_at")
    assert {key: v for key, v in kept.items() if key not in own} == {
        key: v for key, v in alone.items() if key not in own
    }


def test_told__is_not_lost_for_lines_of_json(keeper):
    (answer, _summary) = keeper.bulk([clutch("quilback", hatchlings=[group("normal", 0)])])
    assert told(answer["problem"]) == {("#/hatchlings/0/count", "invalid-body")}
