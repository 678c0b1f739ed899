"""Sentences beside the numbers; above all, that no step is proposed which could do harm."""

from __future__ import annotations

import re
from itertools import permutations, product

import pytest
from hypothesis import given
from hypothesis import strategies as st

from genetics.evidence.explanations import Explanation
from genetics.evidence.recovery import Recovery
from registry.combinations.wording import (
    explained_sentence,
    flag_reason,
    next_step,
    recovery_sentence,
    specific_sentence,
)
from registry.pools.bridge.explaining import EvidenceAnswer
from registry.pools.models import PooledTarget
from registry.pools.wording import number_text
from tests.factories.evidence import Brood, report
from tests.factories.registry import GECKO, Api, clutch, gecko, group, joined

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


def said_of(numbers, *, hits=0, possible=None, expected=20.0, nothing_missing=False):
    estimate, low, high = numbers
    row = PooledTarget(
        n_hits=hits, n_hits_possible=hits if possible is None else possible, expected=expected
    )
    answer = EvidenceAnswer(
        log10_e_value=0.0,
        log10_declared=None,
        log10_specific=None,
        look_alike_prior=0.1,
        to_undo=0,
        null_rate=0.0,
        nothing_missing=nothing_missing,
        recovery=Recovery(estimate=estimate, low=low, high=high, level=0.95),
        explanations=(),
    )
    return recovery_sentence(row, answer)


@pytest.mark.parametrize(
    ("numbers", "counts", "sentence"),
    [
        (
            (0.0, 0.0, 0.25), {},
            "It never hatched; about 1 time for every 4 expected would fit the counts as well.",
        ),
        (
            (0.0, 0.0, 0.25), {"possible": 2},
            ("It never surely hatched; about 1 time for every 4 expected would fit the counts as "
            "well."),
        ),
        (
            (0.0, 0.0, 5.0), {},
            ("It never hatched, but the counts do not tell how often it does: they are too few, or "
            "parents may not carry it."),
        ),
        (
            (0.5, 0.25, 1.1), {"hits": 11},
            ("It hatched about 1 time for every 2 expected (about 1 time for every 4 expected to "
            "1.1 times for every 1 expected)."),
        ),
        (
            (1.0, 0.0, 2.0), {"hits": 19},
            "It hatched about as often as expected (never to 2 times for every 1 expected).",
        ),
        (
            (0.0025, 0.0001, 0.1), {"hits": 1},
            ("It hatched about 1 time for every 400 expected (about 1 time for every 10,000 "
            "expected to about 1 time for every 10 expected)."),
        ),
        (
            (5.0, 2.6, 5.0), {"hits": 19},
            ("Allowing for parents that do not carry what they should, it hatched 5 or more times "
            "for every 1 expected (2.6 times for every 1 expected to 5 or more times for every 1 "
            "expected)."),
        ),
        (
            (2.6, 0.5, 5.0), {"hits": 8, "expected": 11.5},
            ("Allowing for parents that do not carry what they should, it hatched 2.6 times for "
            "every 1 expected (about 1 time for every 2 expected to 5 or more times for every 1 "
            "expected)."),
        ),
        (
            (1.0, 0.5, 5.0), {"hits": 8, "expected": 11.5},
            ("Allowing for parents that do not carry what they should, it hatched about as often "
            "as expected (about 1 time for every 2 expected to 5 or more times for every 1 "
            "expected)."),
        ),
        (
            (0.4, 0.25, 0.6), {"hits": 21},
            ("Weighing what the parents turned out to carry and what is uncertain, it hatched "
            "about 1 time for every 2.5 expected (about 1 time for every 4 expected to about 1 "
            "time for every 1.7 expected)."),
        ),
        (
            (2.0, 1.5, 2.7), {"hits": 27, "nothing_missing": True},
            ("It hatched as often as expected, or more often; 1.5 times for every 1 expected to "
            "2.7 times for every 1 expected would fit the counts as well."),
        ),
    ],
)  # fmt: skip
def test_recovery_sentence__says_how_often_in_accord_with_the_counts(numbers, counts, sentence):
    assert said_of(numbers, **counts) == sentence


@given(st.floats(0, 5), st.floats(0, 5), st.floats(0, 5), st.integers(0, 400), st.floats(1e-6, 1e7))
def test_recovery_sentence__never_contradicts_the_counts_nor_writes_powers(
    low, estimate, high, hits, expected
):
    text = said_of((estimate, low, high), hits=hits, expected=expected)
    assert not re.search(r"[0-9]e[+-]?[0-9]", text)
    first = text.partition("(")[0].partition(";")[0]
    if hits < 0.95 * expected and "times for every 1" in first:
        assert text.startswith("Allowing for parents")
    if hits > expected and "1 time for every" in first:
        assert text.startswith(("Weighing", "It hardly ever"))


@pytest.mark.parametrize(
    ("value", "text"),
    [
        (0, "0"), (0.0001, "less than 0.001"), (0.0123456, "0.0123"), (0.5, "0.5"), (6.75, "6.75"),
        (11.5, "11.5"), (99.96, "100"), (400, "400"), (829.65, "830"), (1234.5, "1,230"),
        (123456, "123,000"), (1e6, "1,000,000"), (1e12, "more than 1,000,000"),
    ],
)  # fmt: skip
def test_number_text__is_written_out(value, text):
    assert number_text(value) == text


@pytest.mark.parametrize(
    ("ratio", "produced", "often"),
    [
        (0.0, "no", "never hatches"),
        (0.0, "uncertain", "never surely hatches"),
        (0.0, "yes", "hardly ever hatches"),
        (0.0, None, "hardly ever hatches"),
        (0.3, "yes", "hatches about 0.3 times for every 1 expected"),
    ],
)
def test_explained_sentence__follows_what_was_produced(ratio, produced, often):
    text = explained_sentence({"other": "Nightferry", "recovery": ratio}, produced)
    assert text == f"The shortage comes from Nightferry, which {often}; beyond that it is no news."


@pytest.mark.parametrize(
    ("n", "words"), [(4, "Likeliest of four explanations"), (None, "Likeliest explanation")]
)
def test_flag_reason__counts_the_explanations_that_can_apply(n, words):
    row = PooledTarget(
        combination="Ashwater",
        n_keepers=3,
        expected=12,
        log10_e_value=2,
        reason={"name": "reduced-viability", "probability": 0.9} | ({"of": n} if n else {}),
    )
    assert f" {words} (90 %): Ashwater dies" in flag_reason(row, "flagged")


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
        report(keeper, Brood("Copperlatch", "", {"": 61, "Copperlatch": 59}))
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


@pytest.mark.django_db
def test_answer__of_one_copy_young_beside_a_lethal_super_form_says_that_nothing_is_missing(keepers):
    for keeper in keepers:
        for _ in range(10):
            hatched = {"brackish": 4, "normal": 2}
            eggs = {"laid": 8, "infertile": 0, "died": 2}
            keeper.post("clutches/", clutch("brackish", "brackish", hatched, eggs=eggs))
    double = Api().combination("super brackish")
    assert double["state"] == "flagged"
    assert double["explanations"][0]["name"] == "reduced-viability"
    assert {one["called_as"] for one in double["explanations"] if "called_as" in one} == {
        "Brackish"
    }
    answer = Api().combination("brackish")
    assert (answer["tried"]["expected"], answer["produced"]["hatchlings"]) == (90, 120)
    assert answer["explanations"] == [
        {
            "name": "as-catalogued",
            "probability": 1.0,
            "sentence": "Nothing is missing: it hatched as often as expected, or more often.",
        }
    ]
    assert answer["next_step"] is None
    assert answer["recovery"]["sentence"].startswith("It hatched as often as expected, or more")
    (flag,) = Api().get("flags/", species=GECKO)["results"]
    # One factor, so neither linkage nor a gene among others can be the reason.
    assert "Likeliest of four explanations (above 99.9 %): Super Brackish dies" in flag["reason"]


@pytest.mark.django_db
def test_explanations__of_a_shortage_say_that_luck_would_be_missing(keepers):
    for keeper in keepers:
        report(keeper, Brood("Ashwater", "Ashwater", {"": 46, "Ashwater": 14}))
    answer = Api().combination("ashwater")
    assert len(answer["explanations"]) > 1
    said = {one["name"]: one["sentence"] for one in answer["explanations"]}
    assert said["as-catalogued"] == "The genetics are as catalogued, and what is missing is luck."
    assert answer["next_step"] is not None


@pytest.mark.django_db
def test_recovery__of_a_parent_that_carries_it_not_says_what_was_allowed_for(keepers):
    """8 of 13 from one sire, none of ten from two others: 8 where 11.5 were expected."""
    for keeper, hatched in zip(keepers, ({"": 5, "Saltgrass": 8}, {"": 5}, {"": 5}), strict=True):
        report(keeper, Brood("Saltgrass", "", hatched))
    answer = Api().combination("saltgrass")
    assert (answer["produced"]["hatchlings"], answer["tried"]["expected"]) == (8, 11.5)
    assert answer["recovery"]["estimate"] > 1
    assert answer["recovery"]["high"] == 5.0
    sentence = answer["recovery"]["sentence"]
    assert sentence.startswith("Allowing for parents that do not carry what they should, it")
    assert sentence.endswith("to 5 or more times for every 1 expected).")
    (called,) = (one["called_as"] for one in answer["explanations"] if "called_as" in one)
    assert called == "a hatchling without Saltgrass"


@pytest.mark.django_db
def test_recovery__of_uncertain_calls_alone_is_not_called_never(keepers):
    for keeper in keepers:
        hatched = [group("normal", 58), group("normal", 2, "ashwater")]
        keeper.post("clutches/", clutch(hatchlings=hatched))
    answer = Api().combination("ashwater")
    assert answer["produced"]["answer"] == "uncertain"
    assert answer["recovery"]["sentence"].startswith("It never surely hatched, but the counts")
    assert answer["recovery"]["estimate"] == 0
