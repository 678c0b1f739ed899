"""Forecasts over HTTP: textbook crosses, exact; what is wanted, with certain and uncertain parents.

Chances of the crosses are those of any textbook of genetics (monohybrid 3:1, incomplete dominance
1:2:1, dihybrid 9:3:3:1, testcross 1:1); the rest is worked out by hand beside each case.
"""

from __future__ import annotations

from fractions import Fraction
from typing import Any

import pytest

from tests.factories.registry import GECKO, Api, gecko, parent, stored, told

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def version():
    return gecko().label


def forecast(sire: Any, dam: Any, **more: Any) -> dict[str, Any]:
    """The answer; nothing is stored for it."""
    body = {
        "species": GECKO,
        "sire": parent(sire) if isinstance(sire, str) else sire,
        "dam": parent(dam) if isinstance(dam, str) else dam,
        **more,
    }
    before = stored()
    answer = Api().post("forecasts/", body, status=200)
    assert stored() == before
    return answer


def looks(answer: dict[str, Any]) -> dict[Any, str]:
    for one in answer["looks"]:
        assert one["chance"] == float(Fraction(one["fraction"]))
    return {
        (one["look"], one["sex"]) if one["sex"] else one["look"]: one["fraction"]
        for one in answer["looks"]
    }


def hidden(answer: dict[str, Any]) -> dict[str, list[str]]:
    return {one["look"]: [each["text"] for each in one["hidden"]] for one in answer["looks"]}


@pytest.mark.parametrize(
    ("sire", "dam", "expected"),
    [
        ("het ashwater", "het ashwater", {"Normal": "3/4", "Ashwater": "1/4"}),
        ("ashwater", "het ashwater", {"Normal": "1/2", "Ashwater": "1/2"}),
        ("ashwater", "ashwater", {"Ashwater": "1"}),
        ("ashwater", "normal", {"Normal": "1"}),
        ("tidemark", "tidemark", {"Tidemark": "1/2", "Normal": "1/4", "Super Tidemark": "1/4"}),
        ("floodmark", "normal", {"Tidemark": "1"}),
        ("copperlatch", "copperlatch", {"Copperlatch": "3/4", "Normal": "1/4"}),
        (
            "double het ashwater reed",
            "double het ashwater reed",
            {
                "Normal": "9/16",
                "Ashwater": "3/16",
                "Pale Reed": "3/16",
                "Ashwater Pale Reed": "1/16",
            },
        ),
        (
            "brackish",
            "saltgrass",
            {"Normal": "1/4", "Brackish": "1/4", "Saltgrass": "1/4", "Brackish Saltgrass": "1/4"},
        ),
        ("het peatcoat", "het turfcoat", {"Normal": "3/4", "Peatcoat Turfcoat": "1/4"}),
        (
            "tidemark het reed",
            "reed",
            {"Normal": "1/4", "Tidemark": "1/4", "Pale Reed": "1/4", "Pale Reed Tidemark": "1/4"},
        ),
    ],
)
def test_looks__of_textbook_crosses_are_exact(sire, dam, expected):
    answer = forecast(sire, dam)
    # How a look is worded is the notation's matter: read it back to its canonical words.
    worded = {
        Api().post("notation/", {"species": GECKO, "text": look})["canonical"]: fraction
        for look, fraction in looks(answer).items()
    }
    assert worded == expected
    assert answer["looks_total"] == len(expected)
    assert answer["chance_listed"] == 1.0


@pytest.mark.parametrize(
    ("sire", "dam", "expected"),
    [
        ("het ashwater", "het ashwater", {"Normal": ["66% het Ashwater"], "Ashwater": []}),
        ("het ashwater", "normal", {"Normal": ["50% het Ashwater"]}),
        ("ashwater", "normal", {"Normal": ["100% het Ashwater"]}),
        (
            "double het ashwater reed",
            "reed het ashwater",
            {
                "Normal": ["66% het Ashwater", "100% het Pale Reed"],
                "Pale Reed": ["66% het Ashwater"],
                "Ashwater": ["100% het Pale Reed"],
                "Ashwater Pale Reed": [],
            },
        ),
        # A sire that is het with 2/3: 1/6 of the hatchlings are visual, 5/6 look normal, and
        # 2/3 x 1/2 + 1/3 x 1/2 = 1/2 are het: 3/5 of those that look normal.
        ("66% het ashwater", "het ashwater", {"Normal": ["60% het Ashwater"], "Ashwater": []}),
    ],
)
def test_looks__tell_the_hets_behind_them(sire, dam, expected):
    assert hidden(forecast(sire, dam)) == expected


def test_looks__of_a_dominant_gene_tell_the_second_copy_behind_it():
    (one,) = (
        one for one in forecast("copperlatch", "copperlatch")["looks"] if one["look"] != "Normal"
    )
    (second,) = one["hidden"]
    assert (second["kind"], second["genes"], second["fraction"]) == (
        "two-copies",
        ["Copperlatch"],
        "1/3",
    )


def test_looks__are_told_by_sex_where_the_sexes_differ():
    # ZW, the dam's one Wickglow on her Z, 1/20 of her eggs recombined: sons get her Z.
    dam = parent("wickglow", on_chromosome={"wickglow": "Z"})
    assert looks(forecast("normal", dam)) == {
        ("Wickglow", "male"): "19/40",
        ("Normal", "female"): "19/40",
        ("Wickglow", "female"): "1/40",
        ("Normal", "male"): "1/40",
    }


@pytest.mark.parametrize(
    ("phase", "chance"),
    [
        # Gametes with both: (1 - 1/10)/2 = 9/20 in coupling, 1/20 in repulsion.
        ("coupling", Fraction(9, 20) ** 2),
        ("repulsion", Fraction(1, 20) ** 2),
    ],
)
def test_wanted__of_linked_genes_follows_the_phase(phase, chance):
    both = parent(
        "het ladder, het dewline", phase=[{"genes": ["sedge ladder", "dewline"], "is": phase}]
    )
    (wanted,) = forecast(both, both, wanted=["ladder dewline"])["wanted"]
    assert Fraction(wanted["fraction"]) == chance


def test_wanted__of_linked_genes_in_unknown_phase_mixes_whole_clutches():
    both = "het ladder, het dewline"
    (wanted,) = forecast(both, both, wanted=["ladder dewline"], clutch_size=10)["wanted"]
    law = {Fraction(81, 400): 1, Fraction(9, 400): 2, Fraction(1, 400): 1}
    assert Fraction(wanted["fraction"]) == sum(p * n for p, n in law.items()) / 4 == Fraction(1, 16)
    expected = sum((1 - (1 - p) ** 10) * n for p, n in law.items()) / 4
    assert wanted["at_least_one"] == pytest.approx(float(expected), rel=1e-15)


# Hatchlings for 95 and 99 %: the published table 1/4 11/17, 1/8 23/35, 1/16 47/72, 1/32 95/146,
# 1/64 191/293; those for 50 and 90 % are the least n with (1-p)^n <= 1/2 and 1/10.
@pytest.mark.parametrize(
    ("sire", "dam", "wanted", "fraction", "waits"),
    [
        ("het ashwater", "het ashwater", "ashwater", "1/4", [3, 9, 11, 17]),
        ("het ashwater tidemark", "het ashwater", "ashwater tidemark", "1/8", [6, 18, 23, 35]),
        (
            "double het ashwater reed",
            "double het ashwater reed",
            "nightferry",
            "1/16",
            [11, 36, 47, 72],
        ),
        (
            "tidemark double het ashwater reed",
            "double het ashwater reed",
            "tidemark ashwater reed",
            "1/32",
            [22, 73, 95, 146],
        ),
        (
            "triple het ashwater reed quillback",
            "triple het ashwater reed quillback",
            "ashwater reed quillback",
            "1/64",
            [45, 147, 191, 293],
        ),
    ],
)
def test_wanted__of_certain_parents(sire, dam, wanted, fraction, waits):
    (one,) = forecast(sire, dam, wanted=[wanted], clutch_size=6)["wanted"]
    chance = Fraction(fraction)
    assert one["genes"] == wanted
    assert one["fraction"] == fraction
    assert one["chance"] == float(chance)
    assert one["at_least_one"] == pytest.approx(float(1 - (1 - chance) ** 6), rel=1e-15)
    assert one["most_ever"] == 1.0
    assert list(one["hatchlings_for"]) == ["50", "90", "95", "99"]
    assert list(one["hatchlings_for"].values()) == waits


def test_wanted__of_one_possible_het_is_mixed_over_the_clutch():
    answer = forecast("66% het ashwater", "het ashwater", wanted=["ashwater"], clutch_size=5)
    (one,) = answer["wanted"]
    assert one["fraction"] == "1/6"
    # 2/3 (1 - (3/4)^5) = 2/3 x 781/1024, well below 1 - (5/6)^5 = 0.598.
    assert one["at_least_one"] == pytest.approx(781 / 1536, rel=1e-15)
    assert one["most_ever"] == pytest.approx(2 / 3)
    # 2/3 (1 - (3/4)^n) >= 1/2 from n = 5 on; 90 % is more than 2/3 whatever n is.
    assert one["hatchlings_for"] == {"50": 5, "90": None, "95": None, "99": None}


def test_wanted__of_two_possible_hets_is_mixed_over_the_clutch():
    answer = forecast("66% het ashwater", "66% het ashwater", wanted=["ashwater"], clutch_size=4)
    (one,) = answer["wanted"]
    assert one["fraction"] == "1/9"
    assert one["at_least_one"] == pytest.approx(
        float(Fraction(4, 9) * Fraction(175, 256)), rel=1e-15
    )
    assert one["hatchlings_for"]["50"] is None


def test_wanted__of_a_proven_possible_het_is_certain():
    sire = parent("66% het ashwater", proven=["ashwater"])
    answer = forecast(sire, "het ashwater", wanted=["ashwater"])
    assert answer["sire"]["genes"] == "het Ashwater"
    assert answer["wanted"][0]["fraction"] == "1/4"
    assert answer["wanted"][0]["at_least_one"] is None


@pytest.mark.parametrize(
    ("pedigree", "genes", "fraction"),
    [
        ("het x het", "66% het Ashwater", "1/6"),
        ("het x normal", "50% het Ashwater", "1/8"),
    ],
)
def test_possible_het__takes_its_chance_from_the_pedigree(pedigree, genes, fraction):
    sire = parent("possible het ashwater", pedigree={"ashwater": pedigree})
    answer = forecast(sire, "het ashwater", wanted=["ashwater"])
    assert answer["sire"]["genes"] == genes
    assert answer["wanted"][0]["fraction"] == fraction


def test_wanted__may_be_a_het_or_a_normal_look():
    answer = forecast(
        "reed 66% het ashwater", "het reed het ashwater", wanted=["het ashwater", "normal"]
    )
    # Het Ashwater: 2/3 x 1/2 + 1/3 x 1/2. Normal: 5/6 x 1/2.
    assert [(one["combination"], one["fraction"]) for one in answer["wanted"]] == [
        ("het Ashwater", "1/2"),
        ("Normal", "5/12"),
    ]


def test_wanted__that_can_not_come_is_told_so():
    (one,) = forecast("normal", "normal", wanted=["ashwater"], clutch_size=3)["wanted"]
    assert (one["fraction"], one["at_least_one"], one["most_ever"]) == ("0", 0.0, 0.0)
    assert set(one["hatchlings_for"].values()) == {None}


def test_cautions__come_with_chance_source_and_advice():
    answer = forecast("copperlatch tidemark", "copperlatch tidemark")
    assert {(one["about"], one["text"]): one["fraction"] for one in answer["cautions"]} == {
        (
            "Copperlatch",
            "Invented caution: one-copy animals tilt the head when startled.",
        ): "3/4",
        (
            "two copies of Copperlatch",
            "Animals with two copies of Copperlatch are suspected not to live.",
        ): "1/4",
        (
            "two copies of Copperlatch",
            "Invented caution: two-copy young are suspected to die in the egg.",
        ): "1/4",
        (
            "Copperlatch + two copies of Tidemark",
            "Invented caution: Copperlatch Floodmark young are said to hatch weak.",
        ): "3/16",
    }
    assert {one["source"] for one in answer["cautions"]} == {"invented for demonstration"}
    assert "veterinarian with experience of reptiles" in answer["advice"]
    assert "the law where you live" in answer["advice"]


def test_cautions__are_absent_where_nothing_can_fall_under_them():
    answer = forecast("copperlatch", "normal")
    assert [one["about"] for one in answer["cautions"]] == ["Copperlatch"]
    answer = forecast("het ashwater", "ashwater")
    assert (answer["cautions"], answer["advice"]) == ([], None)


def test_most_looks__shortens_the_list_only():
    parents = "double het ashwater reed"
    answer = forecast(parents, parents, most_looks=2, wanted=["nightferry"])
    assert list(looks(answer).values()) == ["9/16", "3/16"]
    assert answer["looks"][0]["look"] == "Normal"
    assert answer["looks_total"] == 4
    assert answer["chance_listed"] == 0.75
    assert answer["wanted"][0]["fraction"] == "1/16"


def test_forecast__of_twelve_loci_lists_the_likeliest_looks():
    genes = (
        "tidemark, copperlatch, brackish, bogcoat, wickglow, mistveil, "
        "het ashwater, het reed, het quillback, het ladder, het dewline"
    )
    answer = forecast(genes, genes, most_looks=5, wanted=["ashwater reed quillback"])
    chances = [one["chance"] for one in answer["looks"]]
    assert len(chances) == 5
    assert chances == sorted(chances, reverse=True)
    assert answer["looks_total"] > 1000
    assert answer["wanted"][0]["fraction"] == "1/64"


def test_method__names_the_version(version):
    sire = parent("het ashwater", unproven=["ashwater"])
    answer = forecast(sire, "normal", clutch_size=3)
    assert answer["method"]["catalogue"] == version
    assert answer["sire"] == {"genes": "het Ashwater", "unproven": ["Ashwater"]}
    assert answer["clutch_size"] == 3


@pytest.mark.parametrize(
    ("change", "faults"),
    [
        ({"species": "gecko"}, {("#/species", "unknown-species")}),
        (
            {"wanted": ["ashwater", "quilback"], "sire": {"genes": "super ashwater"}},
            {("#/wanted/1", "unknown-gene"), ("#/sire/genes", "super-of-recessive")},
        ),
        ({"clutch_size": 0}, {("#/clutch_size", "invalid-body")}),
        ({"clutch_size": 301}, {("#/clutch_size", "invalid-body")}),
        ({"most_looks": 0}, {("#/most_looks", "invalid-body")}),
        ({"wanted": ["ashwater"] * 51}, {("#/wanted", "invalid-body")}),
        ({"dam": {"genes": "150% het ashwater"}}, {("#/dam/genes", "chance-out-of-range")}),
        (
            {"sire": {"genes": "wickglow", "on_chromosome": {"wickglow": "X"}}},
            {("#/sire/genes", "contradictory-statement")},
        ),
        (
            {"sire": {"genes": "het ashwater", "pedigree": {"ashwater": "het x het"}}},
            {("#/sire/genes", "contradictory-statement")},
        ),
        (
            {"dam": {"genes": "-5% het ashwater"}, "sire": {"genes": "\u22125% het ashwater"}},
            {("#/dam/genes", "unreadable-text"), ("#/sire/genes", "unreadable-text")},
        ),
        (
            {"sire": {"genes": "66% het ashwater het reed", "proven": ["ashen water", "reed"],
                      "unproven": ["reed", "ashwater"]}},
            {("#/sire/unproven/0", "contradictory-statement"),
             ("#/sire/unproven/1", "contradictory-statement")},
        ),
        (
            {"sire": {"genes": "tidemark", "inherited_from": {"tidemark": "dam"}}},
            {("#/sire/inherited_from/tidemark", "contradictory-statement")},
        ),
        ({"sire": {"genes": "tidemark", "inherited_from": []}},
         {("#/sire/inherited_from", "invalid-body")}),
    ],
)  # fmt: skip
def test_forecast__refuses(change, faults):
    body = {"species": GECKO, "sire": {"genes": "normal"}, "dam": {"genes": "normal"}} | change
    assert told(Api().refused("post", "forecasts/", body)) == faults


@pytest.mark.parametrize(
    ("genes", "inherited_from"),
    [
        ("wickglow", {"wickglow": "dam"}),  # sex-linked
        ("het sedge ladder", {"ladder": "dam"}),  # linked
        # Independent in the catalogue; together they tell the phase if they should be linked.
        ("het ashwater tidemark", {"ashwater": "dam", "tidemark": "sire"}),
    ],
)
def test_forecast__takes_an_origin_that_says_something(genes, inherited_from):
    sire = {"genes": genes, "inherited_from": inherited_from}
    body = {"species": GECKO, "sire": sire, "dam": {"genes": "normal"}}
    Api().post("forecasts/", body, status=200)
    if len(inherited_from) > 1:
        # One of them alone says nothing.
        (gene, origin), *_rest = inherited_from.items()
        body["sire"] = {"genes": genes, "inherited_from": {gene: origin}}
        problem = Api().refused("post", "forecasts/", body)
        assert problem["detail"].startswith(
            "sire/inherited_from/ashwater: Which parent Ashwater came from says nothing"
        )
