"""The list of combinations and what is on watch, over HTTP."""

from __future__ import annotations

import pytest

from registry.catalogue.services import catalogue_load
from tests.factories.registry import (
    FIXTURES,
    GECKO,
    Api,
    clutch,
    gecko,
    group,
    joined,
    many,
    parent,
    told,
)

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _species():
    gecko()


@pytest.fixture
def keeper() -> Api:
    return joined()


@pytest.fixture
def reported(keeper):
    """Ashwater and Quillback 9 of 27 each and never together, and some small clutches.

    Pale Reed 5 of 12, Tidemark 2 of 6, Dewline one unsure of 5.
    """
    for number in range(3):
        sire, dam = parent("ashwater het quillback", f"m-{number}"), "quillback het ashwater"
        keeper.post("clutches/", clutch(sire, dam, {"normal": 3, "ashwater": 3, "quillback": 3}))
    keeper.post("clutches/", clutch("het reed", "het reed", {"normal": 7, "reed": 5}))
    keeper.post(
        "clutches/",
        clutch("tidemark", "normal", [group("normal", 4), group("tidemark", 2)]),
    )
    keeper.post(
        "clutches/",
        clutch("het dewline", "het dewline", [group("normal", 4), group("normal", 1, "dewline")]),
    )


PAIR = ["Ashwater", "Ashwater Quillback", "Quillback"]
SMALL = ["Pale Reed", "Tidemark", "Dewline"]


def names(answer) -> list[str]:
    return [one["combination"] for one in answer["results"]]


@pytest.mark.usefixtures("reported")
def test_list__has_every_combination_that_a_clutch_informs():
    answer = Api().get("combinations/")
    assert names(answer) == [PAIR[0], *PAIR[1:], "Pale Reed", "Tidemark", "Dewline"]
    assert answer["results"][1] == {
        "species": GECKO,
        "combination": "Ashwater Quillback",
        "state": "watch",
        "produced": {
            "answer": "no",
            "hatchlings": 0,
            "hatchlings_if_uncertain_count": 0,
            "clutches": 0,
            "keepers": 0,
            "first_season": None,
        },
        "tried": {
            "clutches": 3,
            "hatchlings": 27,
            "keepers": None,
            "expected": 6.75,
            "chance_of_none": pytest.approx(0.75**27, rel=1e-12),
            "p_value": pytest.approx(0.75**27, rel=1e-12),
        },
        "e_value": Api().combination("ashwater quillback")["evidence"]["e_value"],
    }


@pytest.mark.usefixtures("reported")
@pytest.mark.parametrize(
    ("query", "expected"),
    [
        ({"state": "watch"}, ["Ashwater Quillback"]),
        ({"state": "flagged"}, []),
        ({"state": "too-early"}, SMALL),
        ({"state": "as-expected"}, ["Ashwater", "Quillback"]),
        ({"state": "no-reports"}, []),
        ({"produced": "yes"}, ["Ashwater", "Quillback", "Pale Reed", "Tidemark"]),
        ({"produced": "no"}, ["Ashwater Quillback"]),
        ({"produced": "uncertain"}, ["Dewline"]),
        ({"gene": "reed"}, ["Pale Reed"]),
        ({"min_hatchlings": 12}, [*PAIR, "Pale Reed"]),
        ({"size": 2}, ["Ashwater Quillback"]),
        ({"size": 1, "gene": "e", "min_hatchlings": 10}, ["Ashwater", "Pale Reed"]),
        ({"species": GECKO, "gene": "dew"}, ["Dewline"]),
        ({"source": "published"}, []),
        ({"ordering": "combination"}, [*PAIR[:2], "Dewline", "Pale Reed", "Quillback", "Tidemark"]),
        ({"ordering": "hatchlings"}, [*SMALL[::-1], *PAIR]),
    ],
)
def test_list__is_filtered_and_ordered(query, expected):
    assert names(Api().get("combinations/", **query)) == expected


@pytest.mark.usefixtures("reported")
@pytest.mark.parametrize(
    ("gene", "expected"),
    [
        ("ashen water", ["Ashwater Quillback", "Ashwater"]),
        ("quillback ashwater", ["Ashwater Quillback"]),
        ("ladder", []),
        ("nightferry", []),
        ("back", ["Ashwater Quillback", "Quillback"]),
        ("water quill", ["Ashwater Quillback"]),
        ("water pale", []),
    ],
)
def test_list__of_a_gene_of_a_species_is_by_its_names_or_a_part_of_them(gene, expected):
    found = names(Api().get("combinations/", species=GECKO, gene=gene))
    assert sorted(found) == sorted(expected)


@pytest.mark.usefixtures("reported")
@pytest.mark.parametrize("path", ["combinations/", "flags/"])
def test_list__refuses_an_unknown_gene_of_a_species_with_the_nearest(path):
    problem = Api().refused("get", path, query={"species": GECKO, "gene": "ashwaterr"})
    assert told(problem) == {("gene", "unknown-gene")}
    assert problem["suggestions"] == ["Ashwater"]
    # Of no species in particular it is a part of a text, as far as anybody knows.
    assert Api().get(path, gene="ashwaterr")["results"] == []


STATES = "no-reports, too-early, as-expected, watch or flagged"


@pytest.mark.parametrize(
    ("path", "query", "expected", "near"),
    [
        ("combinations/", {"state": "zzz"}, STATES, []),
        ("combinations/", {"state": "flaged"}, f"{STATES}. Did you mean flagged?", ["flagged"]),
        ("combinations/", {"produced": "zzz"}, "yes, uncertain or no", []),
        ("combinations/", {"source": "keper"}, "keepers or published. Did you mean keepers?",
         ["keepers"]),
        ("species/", {"kind": "foo"}, "kept, invented or reference", []),
        ("species/", {"sex_determination": "WZ"}, "XY, ZW or none", []),
        (f"species/{GECKO}/genes/", {"mode": "foo"},
         "recessive, incomplete-dominant or dominant", []),
        (f"species/{GECKO}/genes/", {"mode": "recesive"},
         "recessive, incomplete-dominant or dominant. Did you mean recessive?", ["recessive"]),
    ],
)  # fmt: skip
def test_list__names_the_values_that_a_filter_knows(path, query, expected, near):
    gecko()
    ((name, text),) = query.items()
    problem = Api().refused("get", path, query=query)
    assert told(problem) == {(name, "invalid-parameter")}
    end = "" if expected.endswith("?") else "."
    assert problem["detail"] == f"parameter {name}: Read {text!r}, expected {expected}{end}"
    assert problem["suggestions"] == near
    for one in problem["allowed"]:
        assert one in expected
        Api().get(path, **{name: one})


@pytest.mark.usefixtures("reported")
@pytest.mark.parametrize("name", ["p_value", "expected", "e_value"])
def test_list__is_ordered_by_a_number(name):
    def numbers(rows):
        return [row[name] if name == "e_value" else row["tried"][name] for row in rows]

    for ordering in (name, f"-{name}"):
        found = numbers(Api().get("combinations/", ordering=ordering)["results"])
        assert len(set(found)) > 3
        assert found == sorted(found, reverse=ordering[0] == "-")


def test_list__of_another_species_is_apart(keeper):
    catalogue_load(FIXTURES / "catalogue" / "corn-snake.json")
    keeper.post("clutches/", clutch())
    assert names(Api().get("combinations/", species="corn-snake")) == []
    problem = Api().refused("get", "combinations/", query={"species": "corn-snaek"})
    assert told(problem) == {("species", "unknown-species")}


@pytest.mark.usefixtures("reported")
@pytest.mark.parametrize("ordering", ["combination", "-hatchlings", "p_value", "-expected"])
@pytest.mark.parametrize("size", [1, 2, 4])
def test_list__comes_in_pages(size, ordering):
    whole = names(Api().get("combinations/", ordering=ordering))
    pages = list(Api().pages("combinations/", page_size=size, ordering=ordering))
    assert [one["combination"] for page in pages for one in page] == whole
    assert {len(page) for page in pages[:-1]} <= {size}


def test_list__pages_of_equal_rows_lose_none(keeper):
    keeper.post("clutches/", many())
    whole = {one["combination"] for one in Api().get("combinations/", page_size=200)["results"]}
    found = [
        one["combination"] for page in Api().pages("combinations/", page_size=23) for one in page
    ]
    assert len(found) == len(set(found)) > 80
    assert whole <= set(found)


@pytest.mark.parametrize(
    ("query", "name"),
    [
        ({"state": "watched"}, "state"),
        ({"produced": "maybe"}, "produced"),
        ({"size": 4}, "size"),
        ({"min_hatchlings": -1}, "min_hatchlings"),
        ({"min_hatchlings": "many"}, "min_hatchlings"),
        ({"ordering": "beauty"}, "ordering"),
        ({"page_size": 0}, "page_size"),
        ({"source": "both"}, "source"),
        ({"size": "1.5"}, "size"),
        ({"state": ""}, "state"),
        ({"gene": " "}, "gene"),
        ({"species": ""}, "species"),
        ({"min_hatchlings": "1e3"}, "min_hatchlings"),
    ],
)
def test_list__refuses_a_value_that_can_not_be(query, name):
    problem = Api().refused("get", "combinations/", query=query)
    assert (problem["status"], told(problem)) == (400, {(name, "invalid-parameter")})


@pytest.mark.parametrize("path", ["combinations/", "flags/"])
def test_list__refuses_a_cursor_of_another_list(keeper, path):
    keeper.post("clutches/", clutch("het ashwater, het reed", "het ashwater, het reed"))
    cursor = Api().get("species/", page_size=1)["next"]
    assert cursor is None
    link = Api().get("combinations/", page_size=1)["next"]
    taken = link.partition("cursor=")[2].partition("&")[0]
    for given in ("made-up", taken[:-2], *([taken] if path == "flags/" else [])):
        problem = Api().refused("get", path, query={"cursor": given})
        assert told(problem) == {("cursor", "invalid-cursor")}


@pytest.mark.usefixtures("reported")
def test_flags__has_what_is_on_watch_with_the_reason():
    (flag,) = Api().get("flags/")["results"]
    assert (flag["combination"], flag["state"]) == ("Ashwater Quillback", "watch")
    assert flag["reason"].startswith("0 hatched where 6.75 were expected among 27 hatchlings.")
    assert "A flag needs 3 keepers" in flag["reason"]
    assert flag["explanation"] == "reduced-viability"
    answer = Api().combination("ashwater quillback")
    assert answer["explanations"][0]["probability"] == flag["explanation_probability"]
    assert answer["explanations"][0]["sentence"] in flag["reason"]


def test_flags__tell_of_uncertain_ones(keeper):
    for number in range(4):
        calls = [group("normal", 3), group("ashwater", 3), group("quillback", 3)]
        unsure = [group("ashwater", 1, "ashwater quillback")] if not number else []
        sire = parent("ashwater het quillback", f"m-{number}")
        keeper.post("clutches/", clutch(sire, "quillback het ashwater", [*calls, *unsure]))
    (flag,) = Api().get("flags/")["results"]
    assert flag["reason"].startswith("0 hatched (and 1 that may be) where 9.25 were expected")


@pytest.fixture
def two_on_watch(keeper):
    """Two pairs that never hatch, the first in more clutches than the second."""
    for one, other, times in (("ashwater", "quillback", 5), ("reed", "ladder", 3)):
        for number in range(times):
            sire = parent(f"{one} het {other}", f"{one} {number}")
            calls = {"normal": 3, one: 3, other: 3}
            keeper.post("clutches/", clutch(sire, f"{other} het {one}", calls))


@pytest.mark.usefixtures("two_on_watch")
def test_flags__are_strongest_first_filtered_and_paged():
    both = ["Ashwater Quillback", "Pale Reed Sedge Ladder"]
    assert names(Api().get("flags/")) == both
    assert names(Api().get("flags/", min_hatchlings=30)) == both[:1]
    assert names(Api().get("flags/", gene="ladder")) == both[1:]
    pages = Api().pages("flags/", page_size=1)
    assert [[one["combination"] for one in page] for page in pages] == [[one] for one in both]


def test_lists__reflect_a_clutch_and_its_withdrawal_at_once(keeper):
    reports = []
    for number in range(3):
        sire = parent("ashwater het quillback", f"m-{number}")
        calls = {"normal": 3, "ashwater": 3, "quillback": 3}
        reports.append(keeper.post("clutches/", clutch(sire, "quillback het ashwater", calls)))
    assert names(Api().get("flags/")) == ["Ashwater Quillback"]
    hits = clutch("ashwater het quillback", "quillback het ashwater", {"ashwater quillback": 4})
    second = keeper.post("clutches/", hits)
    assert names(Api().get("flags/")) == []
    assert Api().get("combinations/")["results"][0]["tried"]["hatchlings"] == 31
    keeper.delete(f"clutches/{second['id']}/")
    assert names(Api().get("flags/", species=GECKO)) == ["Ashwater Quillback"]
    for one in reports:
        keeper.delete(f"clutches/{one['id']}/")
    assert names(Api().get("flags/")) == names(Api().get("combinations/")) == []
