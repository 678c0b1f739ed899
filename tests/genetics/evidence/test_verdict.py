"""States of a target by its exact tail, and their borders."""

from fractions import Fraction

import pytest
from scipy import stats

from genetics.evidence.hits import PoolHits
from genetics.evidence.tail import HitLaw, pooled_tail
from genetics.evidence.verdict import WATCH_LEVEL, State, state_of

QUARTER = Fraction(1, 4)


def pool(*, hits, chance, n, uncertain=0):
    return PoolHits(
        tail=pooled_tail(hits=hits + uncertain, hatchlings_by_chance={chance: n}),
        expected=chance * n,
        n_hits=hits,
        n_hits_possible=hits + uncertain,
        n_hatchlings=n,
        n_cut=0,
    )


def test_state_of__a_pool_without_hatchlings_is_no_reports():
    assert state_of(pool(hits=0, chance=QUARTER, n=0)) is State.NO_REPORTS


@pytest.mark.parametrize(
    ("hits", "n", "state"),
    [
        # 0.75**10 = 0.0563, 0.75**11 = 0.0422: eleven hatchlings are the fewest that can surprise.
        (0, 10, State.TOO_EARLY),
        (0, 11, State.WATCH),
        (1, 11, State.AS_EXPECTED),
        (5, 10, State.TOO_EARLY),
        (5, 40, State.WATCH),
        (6, 40, State.AS_EXPECTED),
    ],
)
def test_state_of__follows_the_tail(hits, n, state):
    assert state_of(pool(hits=hits, chance=QUARTER, n=n)) is state
    if state is not State.TOO_EARLY:
        assert bool(stats.binom.cdf(hits, n, 0.25) < 0.05) is (state is State.WATCH)


def test_state_of__counts_uncertain_hits_in():
    assert state_of(pool(hits=0, chance=QUARTER, n=11)) is State.WATCH
    assert state_of(pool(hits=0, chance=QUARTER, n=11, uncertain=1)) is State.AS_EXPECTED


def test_state_of__does_not_watch_at_the_level_itself():
    tie = pool(hits=0, chance=1 - WATCH_LEVEL, n=1)
    assert tie.tail.chance_of_none == float(WATCH_LEVEL)
    assert state_of(tie) is State.TOO_EARLY
    assert state_of(pool(hits=0, chance=1 - WATCH_LEVEL + Fraction(1, 10**6), n=1)) is State.WATCH


def test_state_of__does_not_watch_at_a_level_that_the_tail_misses_by_a_rounding():
    # P(at most 3 hits) is 1/20 exactly; in floats the tail is 0.049999999999999996.
    chances = [Fraction(39, 2000), *[Fraction(61, 6000)] * 3, *[Fraction(19, 40)] * 2]
    assert sum(chances[:4]) == WATCH_LEVEL
    tail = pooled_tail(hits=3, hatchlings_by_chance={}, laws={HitLaw(tuple(chances)): 1})
    tie = PoolHits(tail, tail.expected, 3, 3, 5, 0)
    assert state_of(tie) is State.AS_EXPECTED
