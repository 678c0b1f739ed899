"""Whether anything is missing, on both sides of the line."""

from __future__ import annotations

import pytest

from genetics.evidence.evalue import e_value, target_viability
from genetics.evidence.explanations import Explanation, explanations
from genetics.evidence.hits import pool_hits
from genetics.evidence.likelihood import pool_likelihood
from genetics.evidence.missing import is_nothing_missing, why_missing
from genetics.pool.pool import ClutchCounts
from tests.factories.evidence import Brood, Pool, pool_of
from tests.factories.pools import MARSH, counts, row, target


def found_in(pools: Pool):
    hits = pool_hits(pools)
    evidence = e_value(pool_likelihood(pools, target_viability(pools[0][1])))
    return is_nothing_missing(hits, evidence), why_missing(pools, hits, evidence)


@pytest.mark.parametrize(("n_hits", "nothing"), [(9, False), (10, True), (11, True), (20, True)])
def test_why_missing__is_asked_below_expectation_only(n_hits, nothing):
    """40 hatchlings of two hets, of which ten should show it."""
    pools = pool_of(
        "Ashwater", [Brood("Ashwater", "Ashwater", {"": 40 - n_hits, "Ashwater": n_hits})]
    )
    is_nothing, found = found_in(pools)
    assert is_nothing is nothing
    if nothing:
        assert [(one.name, one.probability) for one in found] == [(Explanation.AS_CATALOGUED, 1.0)]
    else:
        assert found == explanations(pools)


def test_is_nothing_missing__counts_uncertain_ones_in():
    def pools(n_unsure):
        cells = counts({0: 15 - n_unsure, (0, 1): n_unsure, 1: 3})
        one = row(MARSH, ["Ash"], ["Ash"], ClutchCounts(0, 0, cells))
        return [(MARSH, target(MARSH, "Ash"), {one: 1})]

    assert found_in(pools(1))[0] is False  # 4 of 18, where 4.5 are expected
    assert found_in(pools(2))[0] is True


def test_why_missing__of_one_copy_young_whose_siblings_died_is_nothing():
    """Two copies die, so two of three show one copy instead of two of four."""
    clutch = Brood("Brackish", "Brackish", {"Brackish": 4, "": 2}, died=2)
    lethal, single = (pool_of(look, [clutch] * 30) for look in ("Super Brackish", "Brackish"))
    assert found_in(lethal)[1][0].name is Explanation.REDUCED_VIABILITY
    # Before this was asked, it read with certainty that parents do not carry it.
    assert explanations(single)[0].name is Explanation.PARENT_NOT_CARRYING
    assert [one.name for one in found_in(single)[1]] == [Explanation.AS_CATALOGUED]


def test_is_nothing_missing__not_where_possible_hets_proved_to_carry_it():
    """One in nine is expected of them, and is there; one in four of those that carry it is not."""
    brood = Brood("Ashwater? 2/3", "Ashwater? 2/3", {"": 53, "Ashwater": 7})
    pools = pool_of("Ashwater", [brood] * 3)
    assert pool_hits(pools).n_hits > pool_hits(pools).expected
    nothing, found = found_in(pools)
    assert nothing is False
    assert found == explanations(pools)
