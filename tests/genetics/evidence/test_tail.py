"""The exact pooled tail against exact fractions, published cases and scipy."""

import json
import math
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from genetics.errors import (
    ChanceOutOfRangeError,
    CountsOutOfRangeError,
    HitsOutOfRangeError,
    LevelOutOfRangeError,
)
from genetics.evidence.tail import HitLaw, hatchlings_until_none_surprises, pooled_tail
from tests.oracles.hit_counts import exact_tail, log10_fraction, two_group_tail

HALF, QUARTER, EIGHTH, SIXTEENTH = (Fraction(1, 2**power) for power in range(1, 5))
REFERENCE = json.loads(
    (Path(__file__).parents[3] / "fixtures/reference/pooled_tail.json").read_text("utf-8")
)
PROMISED = Fraction(1, 10**12)

chances = st.fractions(Fraction(1, 1000), Fraction(999, 1000), max_denominator=1000)
pools = st.dictionaries(chances, st.integers(0, 12), max_size=5)


@st.composite
def families(draw: st.DrawFn) -> tuple[Fraction, ...]:
    parts = draw(st.lists(st.integers(0, 20), min_size=1, max_size=6).filter(any))
    return tuple(Fraction(part, sum(parts)) for part in parts)


def relative_error(found: float, exact: Fraction) -> Fraction:
    return abs(Fraction(found) / exact - 1)


@given(pool=pools, laws=st.lists(families(), max_size=4), data=st.data())
def test_pooled_tail__agrees_with_exact_convolution(pool, laws, data):
    n_hatchlings = sum(pool.values()) + sum(len(law) - 1 for law in laws)
    hits = data.draw(st.integers(0, n_hatchlings))
    law_counts = {HitLaw(law): laws.count(law) for law in laws}

    result = pooled_tail(hits=hits, hatchlings_by_chance=pool, laws=law_counts)

    exact = exact_tail(hits, pool, laws)
    none = exact_tail(0, pool, laws)
    assert result.n_hatchlings == n_hatchlings
    assert result.expected == sum(c * n for c, n in pool.items()) + sum(
        j * chance for law in laws for j, chance in enumerate(law)
    )
    for probability, log10, truth in (
        (result.probability, result.log10_probability, exact),
        (result.chance_of_none, result.log10_chance_of_none, none),
    ):
        if truth:
            assert relative_error(probability, truth) <= PROMISED
            assert log10 == pytest.approx(log10_fraction(truth), rel=1e-12, abs=1e-12)
        else:
            assert (probability, log10) == (0.0, -math.inf)


@pytest.mark.parametrize("case", REFERENCE["values"], ids=lambda case: case["name"])
def test_pooled_tail__gives_the_published_cases(case):
    n_by_chance = {Fraction(c): n for c, n in case["hatchlings_by_chance"].items()}
    pool = {chance: n for chance, n in n_by_chance.items() if 0 < chance < 1}
    # Chances of 0 and 1 are refused for single hatchlings; a law of one hatchling may have them.
    laws = {HitLaw((1 - c, c)): n for c, n in n_by_chance.items() if c in (0, 1)}
    for hits, expected in enumerate(case["cdf"]):
        result = pooled_tail(hits=hits, hatchlings_by_chance=pool, laws=laws)
        assert result.probability == pytest.approx(expected, rel=1e-11)
        assert float(result.expected) == case["mean"]
    none = pooled_tail(hits=0, hatchlings_by_chance=pool, laws=laws)
    assert none.probability == float(Fraction(case["pmf_0_exact"]))


@pytest.mark.parametrize("n", [5, 40, 300])
def test_pooled_tail__agrees_with_scipy(n):
    pool = {HALF: n, QUARTER: 2 * n, Fraction(3, 16): n, Fraction(1, 64): 3 * n}
    by_hatchling = np.repeat([float(chance) for chance in pool], list(pool.values()))
    mean = int(sum(chance * count for chance, count in pool.items()))
    for hits in (mean // 2, mean - 2, mean, mean + 3, 2 * mean):
        found = pooled_tail(hits=hits, hatchlings_by_chance=pool)
        reference = stats.poisson_binom.cdf(hits, by_hatchling)
        # scipy's own error is absolute, about 1e-16.
        assert found.probability == pytest.approx(reference, rel=1e-10, abs=1e-15)


@pytest.mark.parametrize(
    ("hits", "low", "high"), [(170, -30, -29), (168, -31, -30), (20, -142, -141), (5, -167, -166)]
)
def test_pooled_tail__is_exact_in_the_far_tail_of_2000_hatchlings(hits, low, high):
    chances_of_pool = (HALF, QUARTER, EIGHTH, SIXTEENTH, Fraction(1, 32), Fraction(1, 64))
    pool = dict.fromkeys(chances_of_pool, 333) | {HALF: 335}
    result = pooled_tail(hits=hits, hatchlings_by_chance=pool)
    assert low < result.log10_probability < high
    assert relative_error(result.probability, exact_tail(hits, pool)) <= PROMISED


def test_pooled_tail__is_exact_at_1e_minus_300_and_goes_on_below_the_smallest_float():
    pool = {HALF: 900, QUARTER: 500, EIGHTH: 400, SIXTEENTH: 200}
    near_300 = pooled_tail(hits=32, hatchlings_by_chance=pool)
    assert -301 < near_300.log10_probability < -299
    assert relative_error(near_300.probability, exact_tail(32, pool)) <= PROMISED

    below = pooled_tail(hits=5, hatchlings_by_chance=pool)
    exact = exact_tail(5, pool)
    assert (below.probability, float(exact)) == (0.0, 0.0)
    assert below.log10_probability == pytest.approx(log10_fraction(exact), rel=1e-14)
    subnormal = pooled_tail(hits=20, hatchlings_by_chance=pool).probability
    assert subnormal == float(exact_tail(20, pool)) > 0.0


@pytest.mark.parametrize("hits", [12_500, 12_400, 12_000, 11_000, 200])
def test_pooled_tail__is_exact_for_a_big_pool(hits):
    half, eighth = (HALF, 20_000), (EIGHTH, 20_000)
    result = pooled_tail(hits=hits, hatchlings_by_chance=dict([half, eighth]))
    exact = two_group_tail(hits, half, eighth)
    assert result.log10_probability == pytest.approx(float(exact.log10()), rel=1e-14)
    if exact > 1e-300:
        assert result.probability == pytest.approx(float(exact), rel=1e-12)


def test_pooled_tail__of_many_families_with_one_law_is_that_of_their_mixture():
    # One hatchling a family: the law of the family is a plain chance, so both must agree.
    hatchlings = pooled_tail(hits=9_700, hatchlings_by_chance={QUARTER: 40_000})
    law = HitLaw((Fraction(3, 4), QUARTER))
    laws = pooled_tail(hits=9_700, hatchlings_by_chance={}, laws={law: 40_000})
    assert laws.probability == pytest.approx(hatchlings.probability, rel=1e-12)
    assert laws.expected == hatchlings.expected == 10_000


@pytest.mark.parametrize("middle", [5, 600])
def test_pooled_tail__keeps_what_lies_in_the_gap_of_a_law(middle):
    # Nearly all of the tilted law sits at both ends; the answer is what sits in the middle, far
    # below the rounding errors of the Fourier transform that a law of 1200 goes through.
    small, smaller = Fraction(1, 10**52), Fraction(1, 10**60)
    gap = (Fraction(0),) * (middle - 1)
    law = (smaller, *gap, small, *gap, 1 - small - smaller)
    result = pooled_tail(hits=middle, hatchlings_by_chance={}, laws={HitLaw(law): 1})
    assert relative_error(result.probability, small + smaller) <= PROMISED


def test_pooled_tail__reads_a_law_in_floats_as_those_floats():
    law = HitLaw((0.1, 0.2, 0.7))
    result = pooled_tail(hits=1, hatchlings_by_chance={HALF: 1}, laws={law: 1})
    total = Fraction(0.1) + Fraction(0.2) + Fraction(0.7)
    assert result.expected == HALF + (Fraction(0.2) + 2 * Fraction(0.7)) / total
    assert result.probability == pytest.approx(0.1 + 0.5 * 0.2, rel=1e-14)


def test_pooled_tail__of_an_empty_pool_is_1_and_0():
    for pool, laws in (({}, None), ({HALF: 0}, {HitLaw((Fraction(1),)): 3})):
        result = pooled_tail(hits=0, hatchlings_by_chance=pool, laws=laws)
        assert (result.probability, result.expected, result.n_hatchlings) == (1.0, 0, 0)
        assert (result.log10_probability, result.chance_of_none) == (0.0, 1.0)


def test_pooled_tail__is_1_when_every_hatchling_is_a_hit():
    assert pooled_tail(hits=30, hatchlings_by_chance={HALF: 10, QUARTER: 20}).probability == 1.0


@pytest.mark.parametrize("hits", [-1, 4])
def test_pooled_tail__refuses_hits_out_of_range(hits):
    with pytest.raises(HitsOutOfRangeError, match="from 0 to 3"):
        pooled_tail(hits=hits, hatchlings_by_chance={HALF: 3})


@pytest.mark.parametrize("chance", [0, 1, Fraction(-1, 2), Fraction(3, 2), Fraction(1, 10**200)])
def test_pooled_tail__refuses_a_chance_that_is_not_inside_0_to_1(chance):
    with pytest.raises(ChanceOutOfRangeError):
        pooled_tail(hits=0, hatchlings_by_chance={Fraction(chance): 3})


def test_pooled_tail__refuses_a_count_below_0():
    with pytest.raises(CountsOutOfRangeError):
        pooled_tail(hits=0, hatchlings_by_chance={HALF: -1})
    with pytest.raises(CountsOutOfRangeError):
        pooled_tail(hits=0, hatchlings_by_chance={}, laws={HitLaw((Fraction(1),)): -1})


@pytest.mark.parametrize(
    "law",
    [
        (),
        (HALF, QUARTER),
        (Fraction(3, 2), -HALF),
        (0.5, 0.4999),
        (math.nan, 1.0),
        (HALF, HALF, 0.1),
    ],
)
def test_hit_law__refuses_chances_that_are_no_law(law):
    with pytest.raises(ChanceOutOfRangeError):
        HitLaw(law)


@pytest.mark.parametrize(
    ("chance", "expected"),
    [(HALF, 5), (QUARTER, 11), (EIGHTH, 23), (SIXTEENTH, 47), (Fraction(1, 64), 191)],
)
def test_hatchlings_until_none_surprises__are_the_waiting_numbers(chance, expected):
    # Same as the 95 % waiting numbers (fixtures/reference/waiting_numbers.json): no ties there.
    assert hatchlings_until_none_surprises(chance=chance) == expected


def test_hatchlings_until_none_surprises__does_not_count_a_tie_as_below():
    assert hatchlings_until_none_surprises(chance=HALF, level=Fraction(1, 2**40)) == 41
    just_above = Fraction(1, 2**40) + Fraction(1, 10**200)
    assert hatchlings_until_none_surprises(chance=HALF, level=just_above) == 40


@given(chance=chances, level=st.fractions(Fraction(1, 900), Fraction(1, 2), max_denominator=997))
def test_hatchlings_until_none_surprises__is_the_first_number_below_the_level(chance, level):
    n = hatchlings_until_none_surprises(chance=chance, level=level)
    assert (1 - chance) ** n < level <= (1 - chance) ** (n - 1)


@pytest.mark.parametrize("level", [0, 1, Fraction(21, 20)])
def test_hatchlings_until_none_surprises__refuses_a_level_out_of_range(level):
    with pytest.raises(LevelOutOfRangeError):
        hatchlings_until_none_surprises(chance=HALF, level=Fraction(level))


@pytest.mark.parametrize("chance", [0, 1])
def test_hatchlings_until_none_surprises__refuses_a_chance_out_of_range(chance):
    with pytest.raises(ChanceOutOfRangeError):
        hatchlings_until_none_surprises(chance=Fraction(chance))
