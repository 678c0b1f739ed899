"""Waiting numbers: the published table, a slow search, and ties."""

import json
from fractions import Fraction
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from genetics.errors import ChanceOutOfRangeError, CountsOutOfRangeError, LevelOutOfRangeError
from genetics.evidence.waiting import at_least_one, hatchlings_for
from tests.oracles.waiting import first_n_reaching

REFERENCE = json.loads(
    (Path(__file__).parents[3] / "fixtures/reference/waiting_numbers.json").read_text("utf-8")
)
ONE, HALF, QUARTER = Fraction(1), Fraction(1, 2), Fraction(1, 4)


@pytest.mark.parametrize("row", REFERENCE["values"], ids=lambda row: row["chance"])
def test_hatchlings_for__gives_the_published_table(row):
    levels = {level: n for level, n in row.items() if level != "chance"}
    found = {
        level: hatchlings_for({Fraction(row["chance"]): ONE}, Fraction(level)) for level in levels
    }
    assert found == levels


@pytest.mark.parametrize(
    ("chance", "n_95", "n_99"),
    [(4, 11, 17), (8, 23, 35), (16, 47, 72), (32, 95, 146), (64, 191, 293)],
)
def test_hatchlings_for__gives_the_numbers_keepers_quote(chance, n_95, n_99):
    law = {Fraction(1, chance): ONE}
    assert hatchlings_for(law, Fraction(95, 100)) == n_95
    assert hatchlings_for(law, Fraction(99, 100)) == n_99


def test_at_least_one__shows_why_a_teaching_page_must_not_round_down():
    for key, expected in REFERENCE["published_case"].items():
        n = int(key.removeprefix("prob_at_"))
        assert float(at_least_one({QUARTER: ONE}, n)) == pytest.approx(expected, rel=1e-11)


def test_hatchlings_for__counts_a_tie_as_reached():
    assert hatchlings_for({HALF: ONE}, 1 - HALF**50) == 50
    assert hatchlings_for({HALF: ONE}, 1 - HALF**50 + Fraction(1, 10**99)) == 51
    assert hatchlings_for({QUARTER: ONE}, Fraction(7, 16)) == 2


weights = st.lists(st.integers(1, 9), min_size=1, max_size=4)
levels = st.fractions(Fraction(1, 100), Fraction(99, 100), max_denominator=100)


@given(parts=weights, level=levels, data=st.data())
def test_hatchlings_for__agrees_with_trying_every_number(parts, level, data):
    chance = st.fractions(0, 1, max_denominator=8)
    n_states = len(parts)
    drawn = data.draw(st.lists(chance, min_size=n_states, max_size=n_states, unique=True))
    law = {c: Fraction(part, sum(parts)) for c, part in zip(drawn, parts, strict=True)}
    # The smallest chance is 1/8: what is not reached after 300 hatchlings (4e-18 left) never is,
    # because levels and weights have denominators up to 3600.
    assert hatchlings_for(law, level) == first_n_reaching(law, level, give_up=300)


def test_hatchlings_for__of_uncertain_parents_needs_more_than_the_mean_chance_says():
    shared = {QUARTER: Fraction(2, 3), Fraction(0): Fraction(1, 3)}
    assert hatchlings_for({Fraction(1, 6): ONE}, HALF) == 4
    assert hatchlings_for(shared, HALF) == 5
    assert at_least_one(shared, 6) == Fraction(2, 3) * (1 - Fraction(3, 4) ** 6)


def test_hatchlings_for__is_none_when_no_number_is_enough():
    shared = {QUARTER: Fraction(2, 3), Fraction(0): Fraction(1, 3)}
    assert hatchlings_for(shared, Fraction(7, 10)) is None
    assert hatchlings_for(shared, Fraction(2, 3)) is None
    assert hatchlings_for({Fraction(0): ONE}, HALF) is None
    assert hatchlings_for({ONE: HALF, Fraction(0): HALF}, HALF) == 1


@pytest.mark.parametrize("level", [0, 1, -1])
def test_hatchlings_for__refuses_a_level_out_of_range(level):
    with pytest.raises(LevelOutOfRangeError):
        hatchlings_for({HALF: ONE}, Fraction(level))


@pytest.mark.parametrize("law", [{}, {HALF: HALF}, {Fraction(2): ONE}, {HALF: 2 * ONE, ONE: -ONE}])
def test_at_least_one__refuses_what_is_no_law(law):
    with pytest.raises(ChanceOutOfRangeError):
        at_least_one(law, 3)


def test_at_least_one__refuses_fewer_hatchlings_than_none():
    with pytest.raises(CountsOutOfRangeError):
        at_least_one({HALF: ONE}, -1)
