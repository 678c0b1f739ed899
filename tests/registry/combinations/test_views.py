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
    """Ashwater 0 of 30, Pale Reed 5 of 12, Quillback 0 of 15, Tidemark 2 of 6, Dewline unsure."""
    keeper.post("clutches/", clutch(hatchlings={"normal": 30}))
    keeper.post("clutches/", clutch("het reed", "het reed", {"normal": 7, "reed": 5}))
    keeper.post("clutches/", clutch("het quillback", "het quillback", {"normal": 15}))
    keeper.post(
        "clutches/",
        clutch("tidemark", "normal", [group("normal", 4), group("tidemark", 2)]),
    )
    keeper.post(
        "clutches/",
        clutch("het dewline", "het dewline", [group("normal", 4), group("normal", 1, "dewline")]),
    )


def names(answer) -> list[str]:
    return [one["combination"] for one in answer["results"]]


@pytest.mark.usefixtures("reported")
def test_list__has_every_combination_that_a_clutch_informs():
    answer = Api().get("combinations/")
    assert names(answer) == ["Ashwater", "Quillback", "Pale Reed", "Tidemark", "Dewline"]
    assert answer["results"][1] == {
        "species": GECKO,
        "combination": "Quillback",
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
            "clutches": 1,
            "hatchlings": 15,
            "keepers": None,
            "expected": 3.75,
            "chance_of_none": pytest.approx(0.75**15, rel=1e-12),
            "p_value": pytest.approx(0.75**15, rel=1e-12),
        },
    }


@pytest.mark.usefixtures("reported")
@pytest.mark.parametrize(
    ("query", "expected"),
    [
        ({"state": "watch"}, ["Ashwater", "Quillback"]),
        ({"state": "too-early"}, ["Dewline"]),
        ({"state": "as-expected"}, ["Pale Reed", "Tidemark"]),
        ({"state": "no-reports"}, []),
        ({"produced": "yes"}, ["Pale Reed", "Tidemark"]),
        ({"produced": "no"}, ["Ashwater", "Quillback"]),
        ({"produced": "uncertain"}, ["Dewline"]),
        ({"gene": "reed"}, ["Pale Reed"]),
        ({"min_hatchlings": 12}, ["Ashwater", "Quillback", "Pale Reed"]),
        ({"size": 2}, []),
        ({"size": 1, "gene": "e", "min_hatchlings": 10}, ["Ashwater", "Pale Reed"]),
        ({"species": GECKO, "gene": "dew"}, ["Dewline"]),
        ({"source": "published"}, []),
        (
            {"ordering": "combination"},
            ["Ashwater", "Dewline", "Pale Reed", "Quillback", "Tidemark"],
        ),
        ({"ordering": "p_value"}, ["Ashwater", "Quillback", "Tidemark", "Dewline", "Pale Reed"]),
        ({"ordering": "-expected"}, ["Ashwater", "Quillback", "Pale Reed", "Tidemark", "Dewline"]),
        ({"ordering": "hatchlings"}, ["Dewline", "Tidemark", "Pale Reed", "Quillback", "Ashwater"]),
    ],
)
def test_list__is_filtered_and_ordered(query, expected):
    assert names(Api().get("combinations/", **query)) == expected


def test_list__of_another_species_is_apart(keeper):
    catalogue_load(FIXTURES / "catalogue" / "corn-snake.json")
    keeper.post("clutches/", clutch())
    assert names(Api().get("combinations/", species="corn-snake")) == []
    problem = Api().refused("get", "combinations/", query={"species": "corn-snaek"})
    assert told(problem) == {("species", "invalid-parameter")}


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
def test_flags__has_what_is_on_watch_strongest_first_with_the_reason():
    answer = Api().get("flags/")
    assert names(answer) == ["Ashwater", "Quillback"]
    assert [one["state"] for one in answer["results"]] == ["watch", "watch"]
    # (3/4)^30 = 1 / 5599.7 and (3/4)^15 = 1 / 74.83.
    assert [one["reason"] for one in answer["results"]] == [
        f"0 hatched where {expected} were expected among {n} hatchlings; luck alone leaves so few "
        f"1 time in {often}. This does not say why: a mislabelled parent or a look-alike does the "
        "same."
        for expected, n, often in (("7.5", 30, "5,600"), ("3.75", 15, "75"))
    ]


def test_flags__tell_of_uncertain_ones(keeper):
    keeper.post(
        "clutches/", clutch(hatchlings=[group("normal", 29), group("normal", 1, "ashwater")])
    )
    (flag,) = Api().get("flags/")["results"]
    assert flag["reason"].startswith("0 hatched (and 1 that may be) where 7.5 were expected")


@pytest.mark.usefixtures("reported")
def test_flags__are_filtered_and_paged():
    assert names(Api().get("flags/", min_hatchlings=20)) == ["Ashwater"]
    assert names(Api().get("flags/", gene="quill")) == ["Quillback"]
    assert [
        [one["combination"] for one in page] for page in Api().pages("flags/", page_size=1)
    ] == [
        ["Ashwater"],
        ["Quillback"],
    ]


def test_lists__reflect_a_clutch_and_its_withdrawal_at_once(keeper):
    first = keeper.post("clutches/", clutch(hatchlings={"normal": 11}))
    assert names(Api().get("flags/")) == ["Ashwater"]
    second = keeper.post("clutches/", clutch(hatchlings={"ashwater": 4}))
    assert names(Api().get("flags/")) == []
    assert Api().get("combinations/")["results"][0]["tried"]["hatchlings"] == 15
    keeper.delete(f"clutches/{second['id']}/")
    assert names(Api().get("flags/", species=GECKO)) == ["Ashwater"]
    keeper.delete(f"clutches/{first['id']}/")
    assert names(Api().get("flags/")) == names(Api().get("combinations/")) == []
