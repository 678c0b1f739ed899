"""The answer to "has anyone produced it", over HTTP."""

from __future__ import annotations

from math import comb

import pytest
import time_machine

from tests.factories.registry import (
    GECKO,
    SEVERAL_GENES,
    Api,
    clutch,
    gecko,
    gecko_changed,
    group,
    joined,
    many,
    parent,
    told,
)

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def version():
    return gecko().label


@pytest.fixture
def keeper() -> Api:
    return joined()


def binomial_tail(hits: int, n: int, chance: float) -> float:
    """P(at most ``hits``), term by term."""
    return sum(comb(n, k) * chance**k * (1 - chance) ** (n - k) for k in range(hits + 1))


def test_answer__is_complete_when_nobody_reported(version):
    answer = Api().combination("pale reed ashwater")
    assert sum(answer["method"].pop("priors").values()) == pytest.approx(1)
    assert "universal inference" in answer["method"].pop("e_value")
    assert "e-BH" in answer["method"].pop("many_combinations")
    assert answer == {
        "species": GECKO,
        "combination": "Ashwater Pale Reed",
        "names": ["Nightferry"],
        "state": "no-reports",
        "produced": {
            "answer": "no",
            "hatchlings": 0,
            "hatchlings_if_uncertain_count": 0,
            "clutches": 0,
            "keepers": 0,
            "first_season": None,
        },
        "tried": {
            "clutches": 0,
            "hatchlings": 0,
            "keepers": 0,
            "expected": 0.0,
            "chance_of_none": 1.0,
            "p_value": 1.0,
        },
        "declared_pairings": None,
        "evidence": {
            "e_value": 1.0,
            "e_value_declared_only": None,
            "e_value_specific": None,
            "without_top_keeper": None,
            "unreported_successes_to_undo": 0,
            "more_hatchlings_to_signal": None,
            "sentence": "Nobody reported a clutch that could have shown it.",
            "specific": None,
        },
        "recovery": None,
        "explanations": [],
        "next_step": None,
        "explained_by": None,
        "related": [],
        "published": {
            "state": "no-reports",
            "clutches": 0,
            "hatchlings": 0,
            "produced": 0,
            "expected": 0.0,
            "p_value": 1.0,
            "citations": [],
        },
        "cautions": [],
        "advice": None,
        "method": {
            "catalogue": version,
            "source": "keepers",
            "pool": 0,
            "p_value": "exact lower tail of the pooled counts, every clutch with its own chance, "
            "hatchlings with uncertain calls counted as hits",
            "parents": "as stated; possible hets at their chance, shared by all clutches of an "
            "animal",
            "families_too_large": 0,
        },
    }


# (3/4)^10 = 0.0563 and (3/4)^11 = 0.0422: the textbook's 11 hatchlings for 95 % at 1 in 4.
@pytest.mark.parametrize(
    ("n_normal", "n_ashwater", "p_value"),
    [
        (10, 0, 0.0563),
        (11, 0, 0.0422),
        (14, 1, 0.0802),
        (16, 1, 0.0501),
        (17, 1, 0.0395),
    ],
)
def test_tried__is_exact(keeper, n_normal, n_ashwater, p_value):
    counts = {"normal": n_normal} | ({"ashwater": n_ashwater} if n_ashwater else {})
    keeper.post("clutches/", clutch(hatchlings=counts))
    answer = Api().combination("ashwater")
    n = n_normal + n_ashwater
    assert answer["tried"]["p_value"] == pytest.approx(p_value, abs=5e-5)
    assert answer["tried"]["p_value"] == pytest.approx(
        binomial_tail(n_ashwater, n, 0.25), rel=1e-12
    )
    assert answer["tried"]["chance_of_none"] == pytest.approx(0.75**n, rel=1e-12)
    assert answer["tried"]["expected"] == n / 4


def test_tried__pools_clutches_of_several_keepers_and_chances():
    # 1 in 4 (6 hatchlings), 1 in 2 (5) and 1 in 4 again (3), with 0, 1 and 0 hits.
    joined().post("clutches/", clutch(hatchlings={"normal": 6}))
    joined().post("clutches/", clutch("ashwater", hatchlings={"normal": 4, "ashwater": 1}))
    joined().post("clutches/", clutch(hatchlings={"normal": 3}))
    answer = Api().combination("ashwater")
    none = 0.75**9 * 0.5**5
    one = none * 9 / 3 + none * 5
    assert answer["tried"]["chance_of_none"] == pytest.approx(none, rel=1e-12)
    assert answer["tried"]["p_value"] == pytest.approx(none + one, rel=1e-12)
    assert answer["tried"]["expected"] == 9 / 4 + 5 / 2
    assert answer["tried"]["keepers"] == 3
    assert answer["method"]["pool"] == 3


def test_uncertain_calls__count_in_for_the_p_value_and_are_shown_at_both_ends(keeper):
    keeper.post(
        "clutches/", clutch(hatchlings=[group("normal", 10), group("normal", 1, "ashwater")])
    )
    answer = Api().combination("ashwater")
    assert answer["produced"] == {
        "answer": "uncertain",
        "hatchlings": 0,
        "hatchlings_if_uncertain_count": 1,
        "clutches": 0,
        "keepers": 0,
        "first_season": None,
    }
    # As 10 normal and 1 Ashwater.
    assert answer["tried"]["p_value"] == pytest.approx(binomial_tail(1, 11, 0.25), rel=1e-12)


def test_possible_het__is_shared_by_all_clutches_of_the_animal(keeper):
    # Sire 2/3 het, dam het. None in 5 + 5 hatchlings: 1/3 + 2/3 (3/4)^10 for one sire, and
    # (1/3 + 2/3 (3/4)^5)^2 for two sires.
    for label in ("m-1", "m-1"):
        keeper.post(
            "clutches/", clutch(parent("66% het ashwater", label), hatchlings={"normal": 5})
        )
    one = Api().combination("ashwater")["tried"]["chance_of_none"]
    assert one == pytest.approx(1 / 3 + 2 / 3 * 0.75**10, rel=1e-12)
    for label in ("m-1", "m-2"):
        body = clutch(parent("66% het quillback", label), "het quillback", {"normal": 5})
        keeper.post("clutches/", body)
    two = Api().combination("quillback")["tried"]["chance_of_none"]
    assert two == pytest.approx((1 / 3 + 2 / 3 * 0.75**5) ** 2, rel=1e-12)


def test_produced__names_the_first_season_of_three_keepers_and_more():
    for season in (2023, 2021, 2022):
        joined().post("clutches/", clutch(season=season))
    joined().post("clutches/", clutch(season=2020, hatchlings={"normal": 2}))
    answer = Api().combination("ashwater")
    assert answer["produced"] == {
        "answer": "yes",
        "hatchlings": 3,
        "hatchlings_if_uncertain_count": 3,
        "clutches": 3,
        "keepers": 3,
        "first_season": 2021,
    }
    assert answer["tried"]["keepers"] == 4


def test_related__tells_parts_super_forms_and_larger_ones(keeper):
    sire, dam = "het ashwater tidemark", "het ashwater tidemark"
    keeper.post("clutches/", clutch(sire, dam, {"normal": 4, "tidemark": 8, "super tidemark": 4}))
    related = Api().combination("ashwater super tidemark")["related"]
    assert {one["combination"]: one["relation"] for one in related} == {
        "Ashwater": "part",
        "Floodmark": "part",
        "Ashwater Tidemark": "super form",
    }
    assert {one["combination"]: (one["hits"], one["expected"]) for one in related} == {
        "Ashwater": (0, 4.0),
        "Floodmark": (4, 4.0),
        "Ashwater Tidemark": (0, 2.0),
    }
    larger = Api().combination("tidemark")["related"]
    assert {one["combination"]: one["relation"] for one in larger} == {
        "Floodmark": "super form",
        "Ashwater Tidemark": "with another gene",
    }


def test_related__of_a_triple_nobody_reported_tells_what_its_pairs_say(keeper):
    keeper.post("clutches/", clutch("het ashwater, het reed", "het ashwater, het reed"))
    answer = Api().combination("ashwater reed quillback")
    assert answer["state"] == "no-reports"
    assert {one["combination"] for one in answer["related"]} == {
        "Ashwater",
        "Pale Reed",
        "Ashwater Pale Reed",
    }


def test_related__of_a_super_form_nobody_reported_tells_of_the_single_gene(keeper):
    keeper.post("clutches/", clutch("tidemark", "normal", {"normal": 3, "tidemark": 3}))
    (related,) = Api().combination("floodmark")["related"]
    assert (related["combination"], related["relation"]) == ("Tidemark", "super form")


def test_answer__reflects_a_clutch_of_many_targets_at_once(keeper):
    """Also where far more related combinations wait to be assessed than an answer lists."""
    keeper.post("clutches/", many())
    fresh = Api().combination("wickglow")
    for genes in ("wickglow", "full wick", "dewline", "tidemark mistveil"):
        answer = Api().combination(genes)
        assert answer["tried"]["hatchlings"] == 32
        assert answer["related"]
    Api().get("combinations/")
    assert Api().combination("wickglow") == fresh


def test_answer__finds_a_fresh_target_among_many_assessed_ones(keeper):
    sire = SEVERAL_GENES.replace("het ashwater", "ashwater")
    keeper.post("clutches/", clutch(sire, sire, {"ashwater": 9}))
    Api().get("combinations/")
    # All of those hatchlings show Ashwater, so only this clutch informs Ashwater alone.
    keeper.post("clutches/", clutch(hatchlings={"normal": 3}))
    assert Api().combination("ashwater")["tried"]["hatchlings"] == 3


def test_answer__is_the_same_for_every_way_to_write_it(keeper):
    keeper.post("clutches/", clutch("het ashwater, het reed", "het ashwater, het reed"))
    answer = Api().combination("ashwater reed")
    assert answer["combination"] == "Ashwater Pale Reed"
    for words in ("Pale Reed Ashen-Water", "nightferry", "REED, ashwater"):
        assert Api().combination(words) == answer


def test_answer__of_a_compound_counts_its_two_genes(keeper):
    keeper.post(
        "clutches/",
        clutch("brackish", "saltgrass", {"normal": 2, "brackish": 2, "estuary": 3, "saltgrass": 1}),
    )
    answer = Api().combination("estuary")
    assert answer["combination"] == Api().combination("brackish saltgrass")["combination"]
    assert (answer["produced"]["hatchlings"], answer["tried"]["expected"]) == (3, 2.0)


def test_cautions__come_with_their_source_and_advice():
    answer = Api().combination("copperlatch floodmark")
    assert answer["cautions"] == [
        {
            "about": "Copperlatch",
            "text": "Invented caution: one-copy animals tilt the head when startled.",
            "source": "invented for demonstration",
        },
        {
            "about": "two copies of Copperlatch",
            "text": "Animals with two copies of Copperlatch are suspected not to live.",
            "source": "invented for demonstration",
        },
        {
            "about": "two copies of Copperlatch",
            "text": "Invented caution: two-copy young are suspected to die in the egg.",
            "source": "invented for demonstration",
        },
        {
            "about": "Copperlatch + two copies of Tidemark",
            "text": "Invented caution: Copperlatch Floodmark young are said to hatch weak.",
            "source": "invented for demonstration",
        },
    ]
    assert "veterinarian" in answer["advice"]
    assert "law" in answer["advice"]
    assert Api().combination("ashwater")["cautions"] == []


def test_versions__add_up_and_the_answer_names_the_one_in_force(keeper):
    keeper.post("clutches/", clutch(hatchlings={"normal": 6}))

    def dominant(content):
        (locus,) = (one for one in content["loci"] if one["key"] == "ml-ashwater")
        locus["alleles"][0]["mode"] = "incomplete-dominant"

    newer = gecko_changed(dominant).label
    # Under the new version an Ashwater x normal gives 1 in 2; the old clutch keeps its 1 in 4.
    keeper.post("clutches/", clutch("ashwater", "normal", {"normal": 4}))
    answer = Api().combination("ashwater")
    assert answer["method"]["catalogue"] == newer
    assert answer["tried"]["hatchlings"] == 10
    assert answer["tried"]["expected"] == 6 / 4 + 4 / 2
    assert answer["tried"]["chance_of_none"] == pytest.approx(0.75**6 * 0.5**4, rel=1e-12)


@pytest.mark.parametrize(
    ("genes", "code", "detail"),
    [
        (
            "ashwater reed quillback tidemark",
            "too-many-factors",
            (
                "Combinations of at most 3 genes are pooled, and Ashwater, Pale Reed, Quillback, "
                "Tidemark make 4 (a compound counts as two). Ask for a part of it."
            ),
        ),
        (
            "estuary reed quillback",
            "too-many-factors",
            (
                "Combinations of at most 3 genes are pooled, and Pale Reed, Quillback, Estuary "
                "make 4 (a compound counts as two). Ask for a part of it."
            ),
        ),
        (
            "het ashwater",
            "not-visible",
            (
                "A combination is what shows, and a het Ashwater does not show. Ask for "
                "'Ashwater', the visual, or leave it out."
            ),
        ),
        (
            "normal",
            "not-visible",
            "A combination needs at least one gene that shows; a normal look is not watched.",
        ),
        (
            "quilback",
            "unknown-gene",
            (
                "'quilback' is no known gene or nickname of the marsh lantern gecko. Did you mean "
                "Quillback?"
            ),
        ),
    ],
)
def test_answer__refuses_what_is_no_combination(genes, code, detail):
    problem = Api().refused("get", f"combinations/{GECKO}/{genes}/")
    assert (problem["status"], problem["code"]) == (400, code)
    assert problem["detail"] == f"parameter genes: {detail}"
    assert told(problem) == {("genes", code)}


def test_answer__of_an_unknown_species_is_not_found():
    problem = Api().refused("get", "combinations/marsh-lantern-geco/ashwater/")
    assert (problem["status"], problem["code"]) == (404, "not-found")
    assert problem["suggestions"] == [GECKO]
    assert problem["detail"] == (
        "The catalogue has no species 'marsh-lantern-geco'. Did you mean marsh-lantern-gecko?"
    )


def test_answer__keeps_published_crosses_apart(keeper):
    keeper.post("clutches/", clutch())
    answer = Api().combination("ashwater", source="published")
    assert (answer["state"], answer["method"]["source"]) == ("no-reports", "published")
    assert Api().combination("ashwater")["state"] == "too-early"
    problem = Api().refused("get", f"combinations/{GECKO}/ashwater/", query={"source": "papers"})
    assert told(problem) == {("source", "invalid-parameter")}


def test_season__is_a_year_of_utc(keeper):
    """At 23:30 on the last day of 2025 in New York it is 2026 in UTC."""
    with time_machine.travel("2025-12-31T23:30:00-05:00"):
        keeper.post("clutches/", clutch(season=2026))
    with time_machine.travel("2025-12-31T23:59:59Z"):
        assert keeper.refused("post", "clutches/", clutch(season=2026))["code"] == (
            "season-out-of-range"
        )
