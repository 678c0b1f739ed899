"""Clutch checks over HTTP: a clutch in hand against its parents, by hand-computed chances."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from math import comb
from typing import Any, Final

import pytest

from genetics.evidence.explanations import explanations
from tests.factories.evidence import Brood, pool_of, report
from tests.factories.registry import Api, clutch, gecko, group, joined, many, parent, stored

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def version():
    return gecko().label


def check(*args: Any, **more: Any) -> dict[str, Any]:
    """The answer; nothing is stored for it."""
    before = stored()
    answer = Api().post("clutch-checks/", clutch(*args, **more), status=200)
    assert stored() == before
    return answer


@pytest.mark.parametrize(("n_normal", "n_ashwater"), [(8, 0), (6, 2), (0, 8), (20, 0)])
def test_surprise__is_the_exact_chance_of_a_clutch_at_most_as_likely(n_normal, n_ashwater):
    n = n_normal + n_ashwater
    law = [Fraction(comb(n, k) * 3 ** (n - k), 4**n) for k in range(n + 1)]
    expected = sum(one for one in law if one <= law[n_ashwater])
    counts = {"normal": n_normal, "ashwater": n_ashwater}
    found = check(hatchlings={call: count for call, count in counts.items() if count})["surprise"]
    assert found["probability"] == pytest.approx(float(expected), rel=1e-12)
    assert (found["hatchlings"], found["uncertain"]) == (n, 0)
    assert found["sentence"].startswith("An ordinary" if expected >= 0.05 else "An unusual")


def test_missed__tells_what_was_possible_and_by_what_chance():
    answer = check("double het ashwater reed", "double het ashwater reed", {"normal": 6, "reed": 2})
    assert {one["combination"]: one["fraction"] for one in answer["missed"]} == {
        "Ashwater": "1/4",
        "Ashwater Pale Reed": "1/16",
    }
    first, second = answer["missed"]
    assert first["chance_of_none"] == pytest.approx(0.75**8, rel=1e-12)
    assert second["chance_of_none"] == pytest.approx((15 / 16) ** 8, rel=1e-12)
    assert (first["expected"], first["hatchlings"], first["may_be"]) == (2.0, 8, 0)


def test_missed__counts_what_may_be_one():
    answer = check(hatchlings=[group("normal", 5), group("normal", 2, "ashwater")])
    (one,) = answer["missed"]
    assert (one["combination"], one["may_be"]) == ("Ashwater", 2)


LETHAL: Final = Brood(
    "Ashwater, Pale Reed",
    "Ashwater, Pale Reed",
    {"": 9, "Ashwater": 4, "Pale Reed": 3},
)


def explained(brood: Brood, combination: str) -> list[dict[str, Any]]:
    (found,) = (
        one["explanations"]
        for one in Api().post("clutch-checks/", brood.body(), status=200)["missed"]
        if one["combination"] == combination
    )
    return found


@pytest.mark.parametrize("died", [None, 0, 1, 4])
def test_missed__comes_with_explanations_by_this_clutch_alone(died):
    brood = replace(LETHAL, died=died)
    # What others reported is not looked at.
    report(joined(), LETHAL, LETHAL)
    found = explained(brood, "Ashwater Pale Reed")
    expected = explanations(pool_of("Ashwater, Pale Reed", [brood]))
    assert [one["name"] for one in found] == [str(one.name) for one in expected]
    for said, one in zip(found, expected, strict=True):
        assert said["probability"] == pytest.approx(one.probability, rel=1e-6, abs=1e-12)
        assert (said.get("called_as"), said.get("gene")) == (one.called_as, one.gene)
        assert said["sentence"].endswith(".")
    assert sum(one["probability"] for one in found) == pytest.approx(1, abs=1e-9)


def test_missed__takes_eggs_that_died_for_reduced_viability():
    def chance(died: int) -> float:
        found = explained(replace(LETHAL, died=died), "Ashwater Pale Reed")
        return next(one["probability"] for one in found if one["name"] == "reduced-viability")

    assert chance(0) < chance(1)


def test_missed__explains_the_ten_most_surprising():
    missed = Api().post("clutch-checks/", many(), status=200)["missed"]
    assert len(missed) > 20
    assert [bool(one["explanations"]) for one in missed] == [True] * 10 + [False] * (
        len(missed) - 10
    )


def test_missed__comes_with_cautions():
    answer = check("copperlatch", "copperlatch", {"normal": 4})
    missed = {one["combination"]: one for one in answer["missed"]}
    assert missed["Copperlatch"]["cautions"][0]["source"] == "invented for demonstration"
    assert answer["cautions"]
    assert "veterinarian" in answer["advice"]


def test_not_possible__names_the_calls_and_why():
    answer = check(hatchlings=[group("normal", 3), group("quillback", 2)])
    assert answer["not_possible"] == [
        {
            "call": "quillback",
            "count": 2,
            "reason": "Quillback can not come from these parents, which give a normal look there.",
        }
    ]
    assert answer["hatchlings"][1]["contradicts_parents"] is True
    assert answer["surprise"]["hatchlings"] == 3


WRONG: Final = (
    "hatchlings can not come from these parents as stated: a parent or a call is not what it is "
    "said to be."
)


@pytest.mark.parametrize(
    ("hatchlings", "probability", "sentence"),
    [
        ({"ashwater": 2, "normal": 3}, 1.0, f"2 of 5 {WRONG} The other 3 are as they should be."),
        ({"ashwater": 4, "normal": 1}, 1.0, f"4 of 5 {WRONG} The other one is as it should be."),
        ({"ashwater": 5}, None, f"5 of 5 {WRONG}"),
        ({"normal het ashwater": 2, "normal": 3}, 1.0,
         f"2 of 5 {WRONG} In looks alone, 5 of all are as they should be."),
    ],
)  # fmt: skip
def test_surprise__leads_with_what_the_parents_can_not_give(hatchlings, probability, sentence):
    found = check("normal", "normal", hatchlings)["surprise"]
    assert (found["probability"], found["sentence"]) == (probability, sentence)


def test_surprise__keeps_its_number_beside_what_the_parents_can_not_give():
    found = check(hatchlings={"quillback": 2, "normal": 1, "ashwater": 7})["surprise"]
    alone = check(hatchlings={"normal": 1, "ashwater": 7})["surprise"]
    assert found["probability"] == alone["probability"] < 0.05
    often = round(1 / alone["probability"])
    assert found["sentence"] == (
        f"2 of 10 {WRONG} The other 8 are unusual as well: about 1 clutch in {often:,} is as "
        "unusual."
    )


def test_parents__are_told_by_exact_bayes():
    # 2/3 het; a het sire leaves a normal hatchling of a visual dam with 1/2:
    # 2/3 x 1/8 / (2/3 x 1/8 + 1/3) = 1/5.
    (doubt,) = check("66% het ashwater", "ashwater", {"normal": 3})["parents"]
    assert (doubt["parent"], doubt["gene"], doubt["verdict"]) == ("sire", "Ashwater", "open")
    assert doubt["before"] == pytest.approx(2 / 3)
    assert doubt["fraction"] == "1/5"
    assert doubt["sentence"] == (
        "The sire carries Ashwater with a chance of 20 % after 3 hatchlings; it was 66.7 %."
    )


def test_parents__are_proven_by_a_hatchling_that_needs_the_gene():
    (doubt,) = check("66% het ashwater", "ashwater", {"normal": 3, "ashwater": 1})["parents"]
    assert (doubt["verdict"], doubt["after"]) == ("proven", 1.0)
    assert doubt["sentence"] == ("The sire carries Ashwater: a hatchling of this clutch needs it.")


def test_parents__of_an_unproven_gene_start_from_the_stated_working_value():
    # 9/10 before; 4 normal hatchlings of a visual dam: 9/10 / 16 / (9/160 + 1/10) = 9/25.
    sire = parent("het ashwater", unproven=["ashwater"])
    answer = check(sire, "ashwater", {"normal": 4})
    (doubt,) = answer["parents"]
    assert answer["method"]["unproven_before"] == 0.9
    assert (doubt["before"], doubt["fraction"]) == (0.9, "9/25")


def test_parents__of_two_possible_hets_share_the_doubt():
    # Of 4/9 both het, 5/9 not: two normal hatchlings leave both with 4/9 x 9/16 = 1/4 against
    # 5/9, of which a het sire alone is 2/9: (1/4 + 2/9) / (1/4 + 5/9) = 17/29.
    answer = check("66% het ashwater", "66% het ashwater", {"normal": 2})
    assert [(one["parent"], one["fraction"]) for one in answer["parents"]] == [
        ("sire", "17/29"),
        ("dam", "17/29"),
    ]


def test_parents__are_not_told_anything_by_other_genes():
    sire = parent("66% het ashwater tidemark")
    (doubt,) = check(sire, "normal", {"normal": 2, "tidemark": 2})["parents"]
    assert doubt["sentence"] == (
        "This clutch says nothing about Ashwater in the sire: still 66.7 %."
    )


@pytest.mark.parametrize(
    ("weights", "chances"),
    [
        ({}, ["3/4", "1/4"]),
        ({"weights": [0.5, 0.5]}, ["3/4", "1/4"]),
        ({"weights": [0.2, 0.6]}, ["1/2", "1/2"]),
        ({"weights": [0.1, 0.9]}, ["1/4", "3/4"]),
    ],
)
def test_readings__take_the_odds_of_the_pairing_times_the_keepers_own(weights, chances):
    entry = group("normal", 1, "ashwater", **weights)
    (found,) = check(hatchlings=[entry])["hatchlings"]
    assert [one["reading"] for one in found["readings"]] == ["Normal", "Ashwater"]
    assert [one["fraction"] for one in found["readings"]] == chances


def test_readings__that_can_not_be_have_no_chance():
    (found,) = check(hatchlings=[group("quillback", 1, "ashwater")])["hatchlings"]
    assert [one["fraction"] for one in found["readings"]] == ["0", "1"]
    assert found["readings"][0]["reason"].startswith("Quillback can not come")


def test_check__takes_the_body_of_a_report_as_it_is(version):
    keeper = joined()
    body = clutch(parent("het ashwater", "m-1"), clutch_code="a", eggs={"laid": 8, "died": 1})
    answer = Api().post("clutch-checks/", body)
    report = keeper.post("clutches/", body)
    for one in answer["hatchlings"]:
        del one["readings"]
    assert answer["hatchlings"] == report["hatchlings"]
    assert answer["method"]["catalogue"] == version
    del body["season"]
    assert Api().post("clutch-checks/", body)["surprise"]["hatchlings"] == 6


def test_check__of_eggs_alone_says_that_nothing_can_be_held_against_the_parents():
    answer = check(hatchlings=[], eggs={"laid": 5, "died": 5})
    assert answer["surprise"]["sentence"] == (
        "No hatchling of this clutch can be held against these parents."
    )
    assert answer["surprise"]["probability"] is None
    assert answer["missed"] == answer["hatchlings"] == []
