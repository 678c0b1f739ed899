"""State of a target by itself, at hand-made pools."""

from math import log10

import pytest

from genetics.evidence.evalue import WATCH_E_VALUE, e_value, target_viability
from genetics.evidence.few_hits import with_few_hits
from genetics.evidence.hits import pool_hits
from genetics.evidence.likelihood import pool_likelihood
from genetics.evidence.verdict import State, hatchlings_until_signal, verdict_of
from tests.factories.pools import MARSH, pair_row, target

PAIR = target(MARSH, "Clay", "Dune")
LEVEL = log10(WATCH_E_VALUE)


def pools_of(cells, times):
    counts = {cell: n for cell, n in enumerate(cells) if n}
    return [(MARSH, PAIR, {pair_row(MARSH, "Clay", "Dune", counts): times})]


def evidence(pools):
    return e_value(pool_likelihood(pools, target_viability(PAIR))).log10


def test_verdict_of__watches_from_an_e_value_of_20_on():
    """Families of two of each other cell: one more of them crosses the level."""
    states, logs = [], []
    for times in range(1, 12):
        pools = pools_of((2, 2, 2, 0), times)
        found = verdict_of(pools)
        logs.append(evidence(pools))
        states.append(found.state)
        assert found.evidence.log10 == pytest.approx(logs[-1])
    assert [state is State.WATCH for state in states] == [log >= LEVEL for log in logs]
    assert State.WATCH in states
    assert State.TOO_EARLY in states


def test_verdict_of__too_early_says_how_many_more_and_that_is_enough():
    pools = pools_of((2, 2, 2, 0), 1)
    found = verdict_of(pools)
    assert found.state is State.TOO_EARLY
    assert found.more_hatchlings
    more = pools_of((2, 2, 2, 0), 1 + -(-found.more_hatchlings // 6) + 1)
    assert verdict_of(more).state is State.WATCH


def test_verdict_of__as_expected_where_a_signal_was_possible():
    pools = pools_of((2, 2, 2, 2), 10)
    found = verdict_of(pools)
    assert found.state is State.AS_EXPECTED
    assert found.more_hatchlings is None
    assert evidence(pools) < LEVEL
    few = {with_few_hits(MARSH, PAIR, row, n_hits=0): times for row, times in pools[0][2].items()}
    assert evidence([(MARSH, PAIR, few)]) >= LEVEL


def test_verdict_of__gene_that_no_parent_shows_is_not_watched():
    """Clay never shows: that is about the parents, however many families."""
    found = verdict_of(pools_of((4, 0, 4, 0), 30))
    assert found.state is not State.WATCH
    assert found.hits.tail.probability < 1e-6


def test_hatchlings_until_signal__is_none_for_a_large_pool():
    pools = pools_of((2, 2, 2, 2), 400)
    assert hatchlings_until_signal(pools, pool_hits(pools)) is None
