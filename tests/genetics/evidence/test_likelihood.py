"""Likelihood of pools against the sum over everything that all animals may carry."""

from dataclasses import replace
from fractions import Fraction
from math import inf

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from genetics.evidence import likelihood as module
from genetics.evidence.likelihood import (
    Distortions,
    cut_rows,
    pool_likelihood,
    row_likelihoods,
    row_terms,
    rows_apart,
)
from genetics.model.belief import Phase
from genetics.model.species import Sex, Species
from genetics.pool.pool import ClutchCounts, PoolRow
from tests.factories.pairings import stated
from tests.factories.pools import MARSH, counts, pair_row, row, small_pools, target
from tests.oracles.latent_families import (
    called,
    hatching,
    hatching_less,
    log_chance,
    n_joint_states,
    pool_chances,
)

MOST_JOINT_STATES = 700
RATES = [0.0, 0.013, 0.3, 1.0]


def matrix(way, n):
    """The linear map of a way of the oracle, column by column."""
    columns = [way([Fraction(int(one == cell)) for one in range(n)]) for cell in range(n)]
    return np.array([[float(column[cell]) for column in columns] for cell in range(n)])


def distortions(ways, n):
    return Distortions(maps=np.array([matrix(way, n) for way in ways]))


def same(found, expected):
    """Equal logarithms, minus infinity included."""
    return found == expected or found == pytest.approx(expected, rel=1e-9, abs=1e-9)


def assert_agrees(pools, ways, rates):
    found = pool_likelihood(pools, distortions(ways, pools[0][1].n_cells))
    logs = found.log_at(np.array(rates))
    for number, way in enumerate(ways):
        families = pool_chances(pools, way)
        for place, rate in enumerate(rates):
            expected = log_chance(families, rate)
            assert same(float(logs[number, place]), expected), (number, rate)
    return found


def assume_small(pools):
    for species, asked, rows in pools:
        for one in rows:
            assume(n_joint_states(species, asked, one) <= MOST_JOINT_STATES)


# --- against brute force ----------------------------------------------------------------------


@settings(max_examples=60, deadline=None)
@given(
    pools=small_pools(),
    psi=st.sampled_from([0.0, 0.05, 0.3, 1.0, 2.0]),
    rate=st.floats(1e-9, 1),
)
def test_pool_likelihood__is_the_sum_over_what_all_animals_may_carry(pools, psi, rate):
    assume_small(pools)
    found = assert_agrees(pools, [hatching(psi), hatching(1)], [rate, *RATES])
    assert found.n_cut == 0


@settings(max_examples=40, deadline=None)
@given(pools=small_pools(most_rows=1), data=st.data())
def test_pool_likelihood__of_look_alikes_and_genes_that_fall_short(pools, data):
    assume_small(pools)
    n = pools[0][1].n_cells
    share = data.draw(st.sampled_from([0.25, 0.5, 1.0]))
    other, mask = data.draw(st.integers(0, n - 1)), data.draw(st.integers(1, n - 1))
    ways = [
        called(lambda cell, n: other if cell == n - 1 else cell, share),
        called(lambda cell, _n: cell & ~mask if cell & mask == mask else cell, share),
        hatching_less(lambda cell, _n: cell & mask == mask, share),
    ]
    assert_agrees(pools, ways, RATES)


def test_pool_likelihood__of_all_that_can_be_uncertain_at_once():
    """Two sires and two dams in four pairs, possible hets, unknown phase, uncertain calls."""
    one = row(
        MARSH,
        ["Gorse, Heath", "Gorse? 2/3, 2 Heath"],
        ["Heath", "Gorse? 1/2"],
        ClutchCounts(0, 0, counts({0: 2, 3: 1})),
        ClutchCounts(0, 1, counts({(1, 3): 2, 2: 1})),
        ClutchCounts(1, 0, counts({1: 1, 2: 3})),
        ClutchCounts(1, 1, counts({(0, 1, 2): 1, 3: 1})),
        ClutchCounts(0, 0, counts({1: 2})),
    )
    asked = target(MARSH, "Gorse", "Heath")
    ways = [hatching(0.2), hatching(1), called(lambda cell, n: 1 if cell == n - 1 else cell, 0.5)]
    found = assert_agrees([(MARSH, asked, {one: 2})], ways, RATES)
    # Not the product of the four pairs by themselves: they share their animals.
    apart = {
        PoolRow((one.sires[c.sire],), (one.dams[c.dam],), (replace(c, sire=0, dam=0),)): 2
        for c in one.clutches[:-1]
    }
    alone = pool_likelihood([(MARSH, asked, apart)], distortions(ways, 4))
    assert abs(alone.log_at(np.array([0.3])) - found.log_at(np.array([0.3]))).min() > 0.01


def test_pool_likelihood__of_sexes_that_differ():
    asked = target(MARSH, "Ash", "Elm")
    cells = (
        *counts({0: 2, 3: 1}, Sex.FEMALE),
        *counts({0: 1, (0, 1): 1}, Sex.MALE),
        *counts({2: 1}),
    )
    one = row(MARSH, ["Ash, Elm"], ["Ash"], ClutchCounts(0, 0, cells))
    assert_agrees([(MARSH, asked, {one: 1})], [hatching(0), hatching(0.5), hatching(1)], RATES)
    # No son shows Elm of this pair, whatever is missing.
    son = row(MARSH, ["Ash, Elm"], ["Ash"], ClutchCounts(0, 0, counts({3: 1}, Sex.MALE)))
    found = pool_likelihood([(MARSH, asked, {son: 1})], distortions([hatching(1)], 4))
    assert (found.log_at(np.array(RATES)) == -inf).all()


def test_pool_likelihood__adds_rows_versions_and_how_often_they_occur():
    asked = target(MARSH, "Clay", "Dune")
    linked = Species("marsh", "marsh gecko", MARSH.sex_system, MARSH.loci, MARSH.linkages)
    rows = [
        pair_row(MARSH, "Clay, Dune", "Clay", {0: 2, 1: 3, 2: 1}),
        pair_row(MARSH, "Clay", "Dune", {0: 2, 3: 2}),
        pair_row(MARSH, "Clay? 1/2", "2 Dune", {2: 2, 3: 2}),
    ]
    pools = [
        (MARSH, asked, {rows[0]: 3, rows[1]: 1}),
        (linked, target(linked, "Clay", "Dune"), {rows[0]: 1, rows[2]: 7}),
    ]
    found = assert_agrees(pools, [hatching(0.4), hatching(1)], RATES)
    alone = [
        pool_likelihood([(MARSH, asked, {one: 1})], distortions([hatching(0.4), hatching(1)], 4))
        for one in rows
    ]
    logs = [one.log_at(np.array(RATES)) for one in alone]
    with np.errstate(invalid="ignore"):
        summed = 4 * logs[0] + logs[1] + 7 * logs[2]
    assert found.log_at(np.array(RATES)) == pytest.approx(summed, rel=1e-12)


def test_pool_likelihood__by_hand():
    """Clay by wild type, 3 hatchlings without it: (1 - c) / 8 + c."""
    pools = [(MARSH, target(MARSH, "Clay"), {pair_row(MARSH, "Clay", "", {0: 3}): 1})]
    found = pool_likelihood(pools, distortions([hatching(1), hatching(0)], 2))
    for rate in RATES:
        mendel, never = np.exp(found.log_at(np.array([rate])))[:, 0]
        assert mendel == pytest.approx((1 - rate) / 8 + rate, rel=1e-12)
        assert never == pytest.approx(1, rel=1e-12)


def test_pool_likelihood__of_chosen_ways_is_a_part_of_all():
    pools = [(MARSH, target(MARSH, "Clay"), {pair_row(MARSH, "Clay", "", {0: 3, 1: 1}): 2})]
    found = pool_likelihood(pools, distortions([hatching(p) for p in (0.1, 0.5, 1)], 2))
    rates = np.array(RATES)
    assert found.n_ways == 3
    assert (found.log_at(rates, slice(1, 3)) == found.log_at(rates)[1:]).all()


def test_pool_likelihood__takes_no_notice_of_the_order_of_clutches_and_animals():
    clutches = [
        ClutchCounts(0, 0, counts({0: 2, 1: 1})),
        ClutchCounts(1, 0, counts({0: 1, 3: 2})),
        ClutchCounts(1, 1, counts({2: 3})),
    ]
    asked = target(MARSH, "Clay", "Dune")
    one = row(MARSH, ["Clay, Dune", "Clay"], ["Dune", "2 Clay"], *clutches)
    turned = [replace(c, sire=1 - c.sire, dam=1 - c.dam) for c in reversed(clutches)]
    other = row(MARSH, ["Clay", "Clay, Dune"], ["2 Clay", "Dune"], *turned)
    logs = [
        pool_likelihood([(MARSH, asked, {r: 1})], distortions([hatching(0.3)], 4)).log_at(
            np.array([0.1, 0.6])
        )
        for r in (one, other)
    ]
    assert logs[0] == pytest.approx(logs[1], rel=1e-12)


def test_pool_likelihood__has_room_for_a_hundred_thousand_hatchlings():
    """No underflow: the logarithm of (1/2)**n."""
    n = 100_000
    asked = target(MARSH, "Clay")
    big = pair_row(MARSH, "Clay", "", {0: n // 2, 1: n // 2})
    found = pool_likelihood([(MARSH, asked, {big: 1})], distortions([hatching(1)], 2))
    assert found.log_at(np.array([0.0]))[0, 0] == pytest.approx(n * np.log(0.5), rel=1e-12)


@pytest.mark.parametrize("uncertain", [(0, 1), (0, 2, 3), (0, 1, 2, 3)])
def test_pool_likelihood__of_an_uncertain_call_is_the_sum_over_its_cells(uncertain):
    asked = target(MARSH, "Clay", "Dune")

    def chance(*calls):
        one = pair_row(MARSH, "Clay, Dune", "Clay", {0: 1, 3: 1})
        cells = (*one.clutches[0].cells, *(c for call in calls for c in counts({call: 1})))
        changed = replace(one, clutches=(replace(one.clutches[0], cells=cells),))
        found = pool_likelihood([(MARSH, asked, {changed: 1})], distortions([hatching(0.3)], 4))
        return np.exp(found.log_at(np.array([0.2]))[0, 0])

    assert chance(uncertain) == pytest.approx(sum(chance((cell,)) for cell in uncertain), rel=1e-12)
    assert chance((0, 1, 2, 3)) == pytest.approx(chance(), rel=1e-12)


def test_pool_likelihood__takes_no_notice_of_a_call_without_hatchlings():
    """Clay can not hatch if the sire has none: 0 hatchlings of it must not say so."""
    asked = target(MARSH, "Clay")
    with_none = pair_row(MARSH, "Clay", "", {0: 3, 1: 0})
    without = pair_row(MARSH, "Clay", "", {0: 3})
    logs = [
        pool_likelihood(
            [(MARSH, asked, {one: 1})], distortions([hatching(0), hatching(1)], 2)
        ).log_at(np.array(RATES))
        for one in (with_none, without)
    ]
    assert logs[0] == pytest.approx(logs[1], rel=1e-12)


# --- families too big to sum over -------------------------------------------------------------


def big_family():
    return row(
        MARSH,
        ["Clay, Dune", "Clay"],
        ["Clay, Dune"],
        ClutchCounts(0, 0, counts({0: 2, 1: 1})),
        ClutchCounts(1, 0, counts({0: 1, 3: 1})),
        ClutchCounts(1, 0, counts({2: 1})),
    )


def test_row_likelihoods__cut_a_family_that_is_too_big_into_pairs(monkeypatch):
    asked, ways = target(MARSH, "Clay", "Dune"), distortions([hatching(0.5), hatching(1)], 4)
    one = big_family()
    [whole] = row_likelihoods(MARSH, asked, one, ways)
    assert not whole.is_cut
    cost = row_terms(MARSH, asked, one)
    monkeypatch.setattr(module, "MOST_TERMS", cost)
    assert len(row_likelihoods(MARSH, asked, one, ways)) == 1
    monkeypatch.setattr(module, "MOST_TERMS", cost - 1)
    parts = row_likelihoods(MARSH, asked, one, ways)
    assert [part.is_cut for part in parts] == [True, True]
    cut = pool_likelihood([(MARSH, asked, {one: 3})], ways)
    assert cut_rows([(MARSH, asked, {one: 3})]) == {(0, one)}
    monkeypatch.undo()
    assert cut.n_cut == 3
    pairs = {
        row(MARSH, ["Clay, Dune"], ["Clay, Dune"], one.clutches[0]): 3,
        row(MARSH, ["Clay"], ["Clay, Dune"], *(replace(c, sire=0) for c in one.clutches[1:])): 3,
    }
    apart = pool_likelihood([(MARSH, asked, pairs)], ways)
    assert apart.n_cut == 0
    rates = np.array(RATES)
    assert cut.log_at(rates) == pytest.approx(apart.log_at(rates), rel=1e-12)
    whole_pool = pool_likelihood([(MARSH, asked, {one: 3})], ways)
    assert whole_pool.n_cut == 0
    inside = np.array([0.3])
    assert abs(whole_pool.log_at(inside) - cut.log_at(inside)).min() > 0.01


def test_row_likelihoods__leave_out_a_pair_that_is_too_much_by_itself(monkeypatch):
    """It speaks neither for nor against anything, and is counted."""
    asked, ways = target(MARSH, "Clay", "Dune"), distortions([hatching(0.25), hatching(1)], 4)
    one = pair_row(MARSH, "Clay, Dune", "2 Clay", {1: 4, 3: 1})
    monkeypatch.setattr(module, "MOST_TERMS", 1)
    monkeypatch.setattr(module, "LARGE_TERMS", 1)
    found = pool_likelihood([(MARSH, asked, {one: 2})], ways)
    assert found.n_cut == 2
    assert (found.log_at(np.array(RATES)) == 0).all()


def test_pool_likelihood__takes_the_costliest_families_apart(monkeypatch):
    asked, ways = target(MARSH, "Clay", "Dune"), distortions([hatching(0.5)], 4)
    rows = [chain(n) for n in (1, 2, 3)]
    costs = [row_terms(MARSH, asked, one) for one in rows]
    pools = [(MARSH, asked, dict.fromkeys(rows, 1))]
    assert costs == sorted(set(costs))
    monkeypatch.setattr(module, "LARGE_TERMS", costs[0])
    monkeypatch.setattr(module, "MOST_TERMS_OF_LARGE", sum(costs[1:]))
    assert rows_apart(pools) == frozenset()
    monkeypatch.setattr(module, "MOST_TERMS_OF_LARGE", sum(costs[1:]) - 1)
    assert rows_apart(pools) == {(0, rows[2])}
    assert pool_likelihood(pools, ways).n_cut == 1


# --- chains, trees and rings ------------------------------------------------------------------


def chain(n):
    """Sire 0 with dam 0, dam 0 with sire 1, and so on; everybody may be mislabelled."""
    return row(
        MARSH,
        ["Clay, Dune? 1/2"] * (n + 1),
        ["Clay? 2/3, Dune"] * (n + 1),
        *(ClutchCounts(k // 2, (k + 1) // 2, counts({0: 1, k % 4: 2})) for k in range(2 * n)),
    )


@pytest.mark.parametrize("pairs", [
    [(0, 0), (0, 1), (1, 1), (1, 2)],
    [(0, 0), (0, 1), (0, 2), (1, 0)],
    [(0, 0), (0, 1), (1, 1), (1, 0), (1, 2)],
])  # fmt: skip
def test_pool_likelihood__of_chains_trees_and_rings(pairs):
    one = row(
        MARSH,
        ["Clay, Dune? 1/2", "Dune"],
        ["Clay? 2/3", "Clay", "Dune"],
        *(ClutchCounts(*both, counts({0: 2, place % 4: 1})) for place, both in enumerate(pairs)),
    )
    asked = target(MARSH, "Clay", "Dune")
    assert n_joint_states(MARSH, asked, one) <= MOST_JOINT_STATES
    found = assert_agrees(
        [(MARSH, asked, {one: 1})],
        [hatching(0.2), hatching(1), called(lambda cell, n: 1 if cell == n - 1 else cell, 0.5)],
        RATES,
    )
    assert found.n_cut == 0


def test_row_terms__of_a_long_chain_are_by_the_pair_not_by_the_states_of_all():
    asked = target(MARSH, "Clay", "Dune")
    costs = [row_terms(MARSH, asked, chain(n)) for n in (5, 10, 20)]
    # Polynomials grow with the family, so twice the pairs cost up to four times as much.
    assert costs[1] < 4 * costs[0]
    assert costs[2] < 4 * costs[1]


def test_row_likelihoods__of_a_wide_ring_are_cut_before_anything_is_summed():
    n = 12
    one = row(
        MARSH,
        ["Clay, Dune"] * n,
        ["Clay, Dune"] * n,
        *(ClutchCounts(k, j, counts({0: 2})) for k in range(n) for j in range(n)),
    )
    asked = target(MARSH, "Clay", "Dune")
    assert row_terms(MARSH, asked, one) == 0
    assert cut_rows([(MARSH, asked, {one: 1})]) == {(0, one)}
    assert len(row_likelihoods(MARSH, asked, one, distortions([hatching(1)], 4))) == n * n


def test_row_likelihoods__know_a_stated_phase():
    """In coupling Gorse comes with Heath; in repulsion it hardly does."""
    asked, ways = target(MARSH, "Gorse", "Heath"), distortions([hatching(1)], 4)

    def log(coupling):
        phases = (Phase(("Gorse", "Heath"), coupling=coupling),)
        sire = stated(MARSH, "Gorse, Heath", Sex.MALE, phases=phases)
        pools = [(MARSH, asked, {pair_row(MARSH, sire, "", {3: 1}): 1})]
        return pool_likelihood(pools, ways).log_at(np.array([0.0]))[0, 0]

    assert np.exp(log(coupling=True)) == pytest.approx(0.45, rel=1e-12)
    assert np.exp(log(coupling=False)) == pytest.approx(0.05, rel=1e-12)
