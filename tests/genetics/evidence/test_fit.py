"""Surprise of one clutch: published exact p-values, brute force and scipy."""

import json
from fractions import Fraction
from math import comb
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from genetics.errors import ChanceOutOfRangeError, CountsOutOfRangeError, TooManyOutcomesError
from genetics.evidence.fit import MOST_HATCHLINGS, ClassChances, chi_square_fit, surprise
from tests.oracles.clutch_outcomes import exact_surprise

REFERENCE = json.loads(
    (Path(__file__).parents[3] / "fixtures/reference/clutch_fit.json").read_text("utf-8")
)
ONE, HALF, QUARTER = Fraction(1), Fraction(1, 2), Fraction(1, 4)
ONE_TWO_ONE = (QUARTER, HALF, QUARTER)


def certain(*chances: Fraction) -> ClassChances:
    return ClassChances((chances,), (ONE,))


@st.composite
def uncertain(draw: st.DrawFn) -> ClassChances:
    n_states, n_looks = draw(st.integers(1, 3)), draw(st.integers(1, 4))

    def law(size: int) -> tuple[Fraction, ...]:
        # Few distinct parts: equal chances and exact ties turn up often.
        parts = draw(st.lists(st.integers(0, 3), min_size=size, max_size=size).filter(any))
        return tuple(Fraction(part, sum(parts)) for part in parts)

    return ClassChances(tuple(law(n_looks) for _ in range(n_states)), law(n_states))


@settings(deadline=None)
@given(class_chances=uncertain(), data=st.data())
def test_surprise__agrees_with_drawing_every_hatchling(class_chances, data):
    n_looks = len(class_chances.chances[0])
    n = data.draw(st.integers(0, 5))
    cuts = sorted(
        data.draw(st.lists(st.integers(0, n), min_size=n_looks - 1, max_size=n_looks - 1))
    )
    counts = [high - low for low, high in zip([0, *cuts], [*cuts, n], strict=True)]

    result = surprise(class_chances=class_chances, counts=counts)

    exact = exact_surprise(class_chances.chances, class_chances.weights, counts)
    assert result.probability == float(exact)
    assert result.merged_looks == 0


@pytest.mark.parametrize(
    "family", REFERENCE["exact_multinomial"]["values"], ids=lambda family: family["parent"]
)
def test_surprise__gives_the_published_exact_multinomial_p(family):
    result = surprise(class_chances=certain(*ONE_TWO_ONE), counts=family["counts"])
    assert result.probability == pytest.approx(family["recomputed"], rel=1e-11)
    published = family["published_exact_multinomial_p"]
    half_of_last_digit = {0.00654: 5e-6, 3e-6: 5e-7, 0.919: 5e-4}[published]
    assert abs(result.probability - published) <= half_of_last_digit
    assert result.n_outcomes == comb(sum(family["counts"]) + 2, 2)


@pytest.mark.parametrize(("hits", "n", "chance"), [(0, 12, 4), (3, 9, 2), (5, 9, 4), (40, 100, 3)])
def test_surprise__of_two_looks_is_the_exact_binomial_test(hits, n, chance):
    p = Fraction(1, chance)
    result = surprise(class_chances=certain(p, 1 - p), counts=[hits, n - hits])
    assert result.probability == pytest.approx(stats.binomtest(hits, n, float(p)).pvalue, rel=1e-11)


def test_surprise__groups_equal_looks_without_merging_any():
    # 16 looks of a four-locus testcross: 12 hatchlings have 17 million outcomes.
    counts = [3, 2, 2, 1, 1, 1, 1, 1] + [0] * 8
    result = surprise(class_chances=certain(*[Fraction(1, 16)] * 16), counts=counts)
    assert (result.n_outcomes, result.merged_looks) == (comb(27, 15), 0)
    assert 0 < result.probability < 1


def test_surprise__merges_the_rarest_looks_and_says_how_many():
    chances = (Fraction(27, 64), *[Fraction(9, 64)] * 3, *[Fraction(3, 64)] * 3, Fraction(1, 64))
    counts = [20, 8, 6, 7, 3, 2, 3, 0]
    merged = surprise(class_chances=certain(*chances), counts=counts, most_steps=2_000)
    assert merged.merged_looks > 1
    n_rarest = merged.merged_looks
    by_hand = surprise(
        class_chances=certain(*chances[:-n_rarest], sum(chances[-n_rarest:], Fraction(0))),
        counts=[*counts[:-n_rarest], sum(counts[-n_rarest:])],
    )
    assert (by_hand.merged_looks, by_hand.n_outcomes) == (0, merged.n_outcomes)
    assert merged.probability == by_hand.probability


def test_surprise__of_counts_the_parents_can_not_give_is_0():
    assert surprise(class_chances=certain(HALF, HALF, 0 * ONE), counts=[3, 2, 1]).probability == 0.0
    # Each look is possible with some parents, both together with none.
    either = ClassChances(((ONE, 0 * ONE), (0 * ONE, ONE)), (HALF, HALF))
    assert surprise(class_chances=either, counts=[1, 1]).probability == 0.0
    assert surprise(class_chances=either, counts=[4, 0]).probability == 1.0


def test_surprise__of_an_empty_clutch_is_1():
    assert surprise(class_chances=certain(*ONE_TWO_ONE), counts=[0, 0, 0]).probability == 1.0
    assert surprise(class_chances=certain(ONE), counts=[7]).probability == 1.0


@pytest.mark.parametrize("counts", [[1, 2], [1, 2, -1], [1, 2, 3, 4]])
def test_surprise__refuses_counts_that_do_not_fit(counts):
    with pytest.raises(CountsOutOfRangeError):
        surprise(class_chances=certain(*ONE_TWO_ONE), counts=counts)


def test_surprise__refuses_what_is_no_clutch():
    with pytest.raises(TooManyOutcomesError):
        surprise(class_chances=certain(HALF, HALF), counts=[MOST_HATCHLINGS, 1])
    with pytest.raises(TooManyOutcomesError):
        surprise(class_chances=certain(QUARTER, 1 - QUARTER), counts=[50, 50], most_steps=20)


@pytest.mark.parametrize(
    ("chances", "weights"),
    [
        (((HALF, QUARTER),), (ONE,)),
        (((HALF, HALF),), (HALF,)),
        (((HALF, HALF), (ONE,)), (HALF, HALF)),
        (((HALF, HALF),), (HALF, HALF)),
        (((ONE + HALF, -HALF),), (ONE,)),
        ((), ()),
    ],
)
def test_class_chances__refuses_what_is_no_law(chances, weights):
    with pytest.raises(ChanceOutOfRangeError):
        ClassChances(chances, weights)


def test_chi_square_fit__reproduces_the_published_p_of_a_knockout_cross():
    cross = REFERENCE["knockout_cross"]
    result = chi_square_fit(expected_chances=ONE_TWO_ONE, counts=cross["counts"])
    assert result.df == 2
    assert result.statistic == pytest.approx(cross["chi2"], rel=1e-9)
    assert result.p_value == pytest.approx(cross["p"], rel=1e-9)
    assert abs(result.p_value - cross["published_p"]) <= 0.05e-11
    # Without the dead class the cross fits: published as "not significant".
    without = chi_square_fit(
        expected_chances=(Fraction(1, 3), Fraction(2, 3), 0 * ONE), counts=cross["counts"]
    )
    assert (without.df, without.p_value > 0.05) == (1, True)


@pytest.mark.parametrize(
    "cross", REFERENCE["mendel_f2"]["values"], ids=lambda cross: cross["trait"]
)
def test_chi_square_fit__gives_mendels_seven_crosses(cross):
    result = chi_square_fit(expected_chances=(3 * QUARTER, QUARTER), counts=cross["counts"])
    assert result.statistic == pytest.approx(cross["chi2"], rel=1e-8)
    assert result.p_value == pytest.approx(cross["p"], rel=1e-8)
    if sum(cross["counts"]) <= MOST_HATCHLINGS:
        exact = surprise(class_chances=certain(3 * QUARTER, QUARTER), counts=cross["counts"])
        assert exact.probability == pytest.approx(cross["exact_p"], rel=1e-8)


@pytest.mark.parametrize("counts", [[0, 0, 0], [1, 2, 3], [1, 2], [-1, 2, 0]])
def test_chi_square_fit__refuses_counts_that_do_not_fit(counts):
    with pytest.raises(CountsOutOfRangeError):
        chi_square_fit(expected_chances=(HALF, HALF, 0 * ONE), counts=counts)


def test_chi_square_fit__refuses_a_single_look():
    with pytest.raises(ChanceOutOfRangeError):
        chi_square_fit(expected_chances=(ONE, 0 * ONE), counts=[3, 0])
