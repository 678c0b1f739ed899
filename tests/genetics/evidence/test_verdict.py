"""State of a target by itself, at hand-made pools."""

from math import log10

import pytest

from genetics.evidence.evalue import WATCH_E_VALUE, e_value, target_viability
from genetics.evidence.few_hits import with_few_hits
from genetics.evidence.hits import pool_hits
from genetics.evidence.likelihood import pool_likelihood
from genetics.evidence.verdict import State, hatchlings_until_signal, verdict_of
from genetics.model.species import Sex
from genetics.pool.pool import ClutchCounts
from tests.factories.pools import MARSH, counts, pair_row, row, target

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


def of_one_sex(sex):
    """Elm on Z of the sire: half of his daughters show it, none of his sons."""
    asked = target(MARSH, "Elm")
    clutch = ClutchCounts(0, 0, counts({0: 4}, sex))
    return [(MARSH, asked, {row(MARSH, ["Elm"], [""], clutch): 3})]


def test_verdict_of__sons_that_can_not_show_it_is_too_early():
    pools = of_one_sex(Sex.MALE)
    assert pool_hits(pools).expected == 0
    found = verdict_of(pools)
    assert (found.state, found.evidence.log10) == (State.TOO_EARLY, pytest.approx(0, abs=1e-12))
    # A quarter of all hatchlings shows it: log(20) / log(4 / 3) = 10.4.
    assert found.more_hatchlings == 11


def test_verdict_of__one_hatchling_is_too_early_whatever_it_is():
    for cells in ((1, 0, 0, 0), (0, 1, 0, 0), (0, 0, 0, 1)):
        found = verdict_of(pools_of(cells, 1))
        assert found.state is State.TOO_EARLY
        assert found.more_hatchlings > 5


@pytest.mark.parametrize("families", [1, 2, 3])
def test_verdict_of__says_fewer_more_the_more_there_are(families):
    fewer, more = (verdict_of(pools_of((2, 1, 1, 0), n)) for n in (families, families + 1))
    assert fewer.more_hatchlings > (more.more_hatchlings or 0)


def test_verdict_of__a_gene_alone_could_signal_once_one_hit_proves_its_parent():
    """If Clay never showed, all fathers might lack it; one hit each and the rest would be news."""
    asked = target(MARSH, "Clay")
    pools = [(MARSH, asked, {pair_row(MARSH, "Clay", "", {0: 8, 1: 8}): 3})]
    for n_hits, signals in ((0, False), (1, True)):
        few = {with_few_hits(MARSH, asked, r, n_hits=n_hits): n for r, n in pools[0][2].items()}
        changed = [(MARSH, asked, few)]
        log = e_value(pool_likelihood(changed, target_viability(asked))).log10
        assert (log >= LEVEL) is signals
    assert verdict_of(pools).state is State.AS_EXPECTED
