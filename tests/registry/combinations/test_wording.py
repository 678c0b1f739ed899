"""Sentences beside the numbers; above all, that no step is proposed which could do harm."""

from __future__ import annotations

from itertools import permutations, product

import pytest

from genetics.evidence.explanations import Explanation
from registry.combinations.wording import next_step, recovery_sentence, specific_sentence
from tests.factories.evidence import Brood, report
from tests.factories.registry import Api, gecko, joined

CAREFUL = "Make no further pairing that could give it in order to find out."
PROPOSES_PAIRINGS = ("pair each", "Test the parents", "Prove each parent")

NAMES = [str(one) for one in Explanation]


def step(names, chances, **said):
    found = [
        {"name": name, "probability": chance} for name, chance in zip(names, chances, strict=True)
    ]
    return next_step(found, **{"hatchlings": 7, "is_single": False, "has_cautions": False, **said})


@pytest.mark.parametrize("is_single", [True, False])
@pytest.mark.parametrize("has_cautions", [True, False])
def test_next_step__proposes_no_pairing_where_animals_may_die(is_single, has_cautions):
    """Every order of three explanations, the third one with a little chance or hardly any."""
    n_careful = 0
    for names, third in product(permutations(NAMES, 3), (0.1, 0.05, 0.049, 0.001)):
        text = step(
            names, (0.7, 0.3 - third, third), is_single=is_single, has_cautions=has_cautions
        )
        may_die = "reduced-viability" in (names if third >= 0.05 else names[:2])
        careful = has_cautions or may_die
        n_careful += careful
        assert (CAREFUL in text) is careful
        assert ("veterinarian" in text) is careful
        if careful:
            assert "pair each" not in text
            assert "Test the parents" not in text
            # Proving a parent for the only gene there is breeds the combination.
            assert not (is_single and "Prove" in text)
            if "Prove" in text:
                assert "only in pairings that can give neither the combination" in text
    assert n_careful > 0


def test_next_step__tells_the_two_likeliest_apart():
    told = {
        pair: step(pair, (0.6, 0.4))
        for pair in permutations(NAMES, 2)
        if "reduced-viability" not in pair
    }
    assert all(text == told[other, one] for (one, other), text in told.items())
    # Half of the hatchlings should show it: seven times none of them is 1 in 128.
    assert told["as-catalogued", "parent-not-carrying"].endswith(
        "From a parent that carries it, 7 hatchlings without it come 1 time in 100."
    )
    assert "looked at again" in told["as-catalogued", "look-alike"]
    assert "het for both genes" in told["gene-shortage", "linked-in-repulsion"]
    assert told["as-catalogued", "gene-shortage"].startswith("Report the clutches that come")
    assert step(["as-catalogued"], (1.0,)) == told["as-catalogued", "gene-shortage"]


@pytest.mark.parametrize(
    ("numbers", "sentence"),
    [
        ((0.0, 0.0, 0.25), "It never hatched; about 1 time for every 4 expected would fit"),
        ((0.5, 0.25, 1.1), "It hatched about 1 time for every 2 expected (about 1 time for every"),
        ((1.0, 0.0, 2.0), "It hatched 1 times for every 1 expected (never to 2 times for"),
    ],
)
def test_recovery_sentence__says_how_often(numbers, sentence):
    assert recovery_sentence(*numbers).startswith(sentence)


def test_specific_sentence__turns_at_20():
    assert specific_sentence(None) is None
    assert "not yet specific" in (specific_sentence(1.3) or "")
    assert "genes hatch apart" in (specific_sentence(1.302) or "")


# --- over HTTP ----------------------------------------------------------------------------------


@pytest.fixture
def keepers():
    gecko()
    return [joined() for _ in range(3)]


def likely(answer) -> dict[str, float]:
    return {one["name"]: one["probability"] for one in answer["explanations"]}


@pytest.mark.django_db
def test_next_step__of_a_lethal_pair_over_http(keepers):
    lethal = Brood(
        "Ashwater, Pale Reed", "Ashwater, Pale Reed",
        {"": 27, "Ashwater": 9, "Pale Reed": 9}, died=3,
    )  # fmt: skip
    for keeper in keepers:
        report(keeper, lethal, lethal)
    answer = Api().combination("ashwater reed")
    assert answer["explanations"][0]["name"] == "reduced-viability"
    assert CAREFUL in answer["next_step"]
    assert "veterinarian" in answer["next_step"]
    assert "law" in answer["advice"]


@pytest.mark.django_db
@pytest.mark.parametrize("n_hits", [0, 1, 3])
def test_next_step__of_a_single_gene_that_may_die_over_http(keepers, n_hits):
    counts = {"": 40} | ({"Ashwater": n_hits} if n_hits else {})
    for keeper in keepers:
        report(keeper, Brood("Ashwater", "Ashwater", counts, died=12))
    answer = Api().combination("ashwater")
    assert likely(answer)["reduced-viability"] > 0.05
    assert CAREFUL in answer["next_step"]
    assert not any(one in answer["next_step"] for one in PROPOSES_PAIRINGS)


@pytest.mark.django_db
def test_next_step__of_a_gene_with_a_caution_over_http(keepers):
    """Whatever the counts say: two copies of Copperlatch are suspected not to live."""
    for keeper in keepers:
        report(keeper, Brood("Copperlatch", "", {"": 60, "Copperlatch": 60}))
    answer = Api().combination("copperlatch")
    assert answer["cautions"]
    assert likely(answer)["reduced-viability"] < 0.05
    assert [one["name"] for one in answer["explanations"][:2]] == [
        "as-catalogued",
        "parent-not-carrying",
    ]
    assert CAREFUL in answer["next_step"]
    assert not any(one in answer["next_step"] for one in PROPOSES_PAIRINGS)


@pytest.mark.django_db
def test_next_step__of_nothing_reported_is_none():
    gecko()
    assert Api().combination("ashwater")["next_step"] is None


@pytest.mark.django_db
def test_evidence_sentence__of_a_gene_that_never_hatched_does_not_call_it_usual(keepers):
    """Taken at their word the parents could hardly do this; without the gene they always would."""
    for keeper in keepers:
        report(keeper, Brood("Ashwater", "Ashwater", {"": 60}))
    answer = Api().combination("Ashwater")
    assert answer["state"] == "as-expected"
    assert answer["tried"]["p_value"] < 1e-15
    assert "no sign of a shortage" not in answer["evidence"]["sentence"]
    assert "parents that do not carry it" in answer["evidence"]["sentence"]


@pytest.mark.django_db
def test_evidence_sentence__of_a_gene_that_hatched_as_often_as_it_should(keepers):
    for keeper in keepers:
        report(keeper, Brood("Ashwater", "Ashwater", {"": 45, "Ashwater": 15}))
    answer = Api().combination("Ashwater")
    assert answer["state"] == "as-expected"
    assert answer["evidence"]["sentence"].endswith("That is no sign of a shortage.")
