"""Weighted e-BH against the published rule, and against its definition over all subsets."""

import json
from itertools import combinations, permutations
from math import inf, log10
from pathlib import Path

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from genetics.errors import LevelOutOfRangeError
from genetics.evidence.ebh import FALSE_DISCOVERY_LEVEL, SIZE_WEIGHTS, discoveries

CASES = json.loads((Path(__file__).parents[3] / "fixtures/reference/e_bh.json").read_text("utf-8"))[
    "values"
]


def logs(e_values):
    return {key: log10(one) if one else -inf for key, one in enumerate(e_values)}


@pytest.mark.parametrize("case", CASES, ids=[one["note"] for one in CASES])
def test_discoveries__are_those_of_the_worked_example(case):
    found = discoveries(logs(case["e_values"]), level=case["alpha"])
    largest = sorted(range(len(case["e_values"])), key=lambda key: -case["e_values"][key])
    assert found == set(largest[: case["rejected"]])


def by_definition(e_values, weights, level):
    """The union of all sets whose every member has at least n / (size of the set * level).

    Wang and Ramdas (2022): e-BH rejects the largest such self-consistent set.
    """
    n = len(e_values)
    mean = sum(weights) / n
    scaled = [one * weight / mean for one, weight in zip(e_values, weights, strict=True)]
    found = set()
    for size in range(1, n + 1):
        for chosen in combinations(range(n), size):
            if all(scaled[key] >= n / (size * level) * (1 - 1e-11) for key in chosen):
                found |= set(chosen)
    return found


E_VALUES = st.sampled_from([0.0, 0.3, 1.0, 4.0, 5.0, 10.0, 20.0, 30.0, 60.0, 200.0, 1e6])


@settings(max_examples=200, deadline=None)
@given(
    targets=st.lists(st.tuples(E_VALUES, st.sampled_from([1.0, 2.0, 0.5])), min_size=1, max_size=7),
    level=st.sampled_from([0.05, 0.1, 0.2, 0.5]),
)
@example(targets=[(20.0, 1.0), (10.0, 1.0)], level=0.1)
def test_discoveries__are_the_largest_self_consistent_set(targets, level):
    e_values, weights = zip(*targets, strict=True)
    found = discoveries(logs(e_values), dict(enumerate(weights)), level=level)
    assert found == by_definition(e_values, weights, level)
    if len(set(weights)) == 1:
        assert found == discoveries(logs(e_values), level=level)


@settings(max_examples=100, deadline=None)
@given(
    targets=st.lists(st.tuples(E_VALUES, st.sampled_from([1.0, 2.0])), min_size=1, max_size=5),
    others=st.dictionaries(st.sampled_from([1.0, 2.0]), st.integers(0, 40)),
)
def test_discoveries__count_the_others_as_targets_without_evidence(targets, others):
    e_values, weights = (list(one) for one in zip(*targets, strict=True))
    found = discoveries(logs(e_values), dict(enumerate(weights)), others=others)
    for weight, n in others.items():
        e_values += [0.0] * n
        weights += [weight] * n
    assert found == discoveries(logs(e_values), dict(enumerate(weights)))


def test_discoveries__do_not_depend_on_the_order():
    e_values = {"a": 500.0, "b": 60.0, "c": 60.0, "d": 39.0, "e": 3.0}
    weights = {"a": 1.0, "b": 2.0, "c": 2.0, "d": 1.0, "e": 2.0}
    found = {
        discoveries({key: log10(e_values[key]) for key in order}, weights)
        for order in permutations(e_values)
    }
    assert found == {frozenset("abc")}


@pytest.mark.parametrize("n", [1, 3, 7, 49, 1000])
def test_discoveries__take_a_tie_for_reached(n):
    # The largest of n needs n / level: 1000 / 0.05 and the like, not exact in logarithms.
    e_values = dict.fromkeys(range(1, n), 0.0) | {0: log10(n / 0.05)}
    assert discoveries(e_values) == {0}
    assert discoveries(e_values | {0: log10(n / 0.05) - 1e-9}) == frozenset()


def test_discoveries__of_all_equal_targets_are_all_or_none():
    assert discoveries({key: log10(20) for key in range(30)}) == set(range(30))
    assert discoveries({key: log10(19.999) for key in range(30)}) == frozenset()


def test_discoveries__weigh_small_targets_more_than_triples():
    weights = {"single": SIZE_WEIGHTS[1], "pair": SIZE_WEIGHTS[2], "triple": SIZE_WEIGHTS[3]}
    e_values = dict.fromkeys(weights, 20.5)
    # Mean weight 5/3: 24.6 for the first two, 12.3 for the triple, where two need 30 each.
    assert discoveries({key: log10(one) for key, one in e_values.items()}, weights) == frozenset()
    for one, others in (("pair", 51.0), ("triple", 101.0)):
        e_values = dict.fromkeys(weights, 0.1) | {one: others}
        assert discoveries({k: log10(e) for k, e in e_values.items()}, weights) == {one}
        e_values[one] = others - 2
        assert discoveries({k: log10(e) for k, e in e_values.items()}, weights) == frozenset()


def test_discoveries__scale_the_weights_themselves():
    e_values = logs([100.0, 45.0, 30.0, 2.0])
    weights = {0: 1.0, 1: 3.0, 2: 2.0, 3: 1.0}
    found = discoveries(e_values, weights)
    assert found == discoveries(e_values, {key: 17 * one for key, one in weights.items()})
    assert found == by_definition([100.0, 45.0, 30.0, 2.0], list(weights.values()), 0.05)


def test_discoveries__of_enormous_and_of_no_evidence():
    assert discoveries({"a": 5000.0, "b": -inf}) == {"a"}
    assert discoveries({}) == frozenset()
    assert discoveries({}, others={1.0: 5}) == frozenset()
    assert discoveries({"a": -inf, "b": -inf}) == frozenset()


@pytest.mark.parametrize("level", [0.0, 1.0, -0.1, 1.5])
def test_discoveries__refuse_a_level_that_is_none(level):
    with pytest.raises(LevelOutOfRangeError, match=r"strictly between 0 and 1"):
        discoveries({"a": 3.0}, level=level)


def test_discoveries__are_at_5_percent_unless_said_otherwise():
    assert FALSE_DISCOVERY_LEVEL == 0.05
    assert discoveries({"a": log10(20)}) == {"a"}
    assert discoveries({"a": log10(19.99)}) == frozenset()
