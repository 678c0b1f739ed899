"""E-values against their formula by brute force, and what makes them safe."""

from itertools import pairwise, product
from math import comb, exp, fsum, inf, log, log10, prod

import numpy as np
import pytest
from hypothesis import assume, example, given, settings
from hypothesis import strategies as st

from genetics.evidence.evalue import (
    PSI_WEIGHTS,
    RATE_WEIGHTS,
    EValue,
    e_value,
    largest_null,
    psi_distortions,
    target_viability,
    viability,
)
from genetics.evidence.likelihood import pool_likelihood
from genetics.pool.pool import ClutchCounts
from tests.factories.pools import MARSH, counts, pair_row, row, small_pools, target
from tests.oracles.latent_families import hatching, log_chance, n_joint_states, pool_chances

FINE_GRID = sorted({*np.linspace(0, 1, 401), *np.geomspace(1e-6, 1, 300)})


def evidence(pools):
    return e_value(pool_likelihood(pools, target_viability(pools[0][1])))


def log_mixture(pools):
    """The numerator by the formula: sum over psi and c of weights times likelihoods."""
    families = {psi: pool_chances(pools, hatching(psi)) for psi in PSI_WEIGHTS}
    logs = [
        log(weight) + log(rate_weight) + log_chance(families[psi], rate)
        for psi, weight in PSI_WEIGHTS.items()
        for rate, rate_weight in RATE_WEIGHTS.items()
    ]
    top = max(logs)
    return -inf if top == -inf else top + log(fsum(exp(one - top) for one in logs))


def test_weights__are_those_of_mixtures():
    assert fsum(PSI_WEIGHTS.values()) == pytest.approx(1, abs=1e-15)
    assert fsum(RATE_WEIGHTS.values()) == pytest.approx(1, abs=1e-15)
    assert all(0 <= psi < 1 for psi in PSI_WEIGHTS)
    assert all(0 < rate < 1 for rate in RATE_WEIGHTS)


# --- the formula ------------------------------------------------------------------------------


@settings(max_examples=40, deadline=None)
@given(pools=small_pools())
def test_e_value__is_the_mixture_over_the_largest_null(pools):
    [(species, asked, rows)] = pools
    for one in rows:
        assume(n_joint_states(species, asked, one) <= 200)
    null = pool_chances(pools, hatching(1))
    on_grid = [log_chance(null, rate) for rate in FINE_GRID]
    found = evidence(pools)
    if max(on_grid) == -inf:
        assert found.log10 == 0
        return
    largest = log_chance(null, found.null_rate)
    # Never below the largest on a fine grid, and itself the likelihood of some rate.
    assert largest >= max(on_grid) - 1e-9
    assert 0 <= found.null_rate <= 1
    expected = (log_mixture(pools) - largest) / log(10)
    assert found.log10 == (expected if expected == -inf else pytest.approx(expected, abs=1e-9))


@settings(max_examples=60, deadline=None)
@given(
    n_carriers=st.integers(0, 40_000),
    n_not=st.integers(0, 2_000),
    n_doubtful=st.integers(0, 200),
    size=st.integers(1, 12),
)
@example(n_carriers=39_999, n_not=1, n_doubtful=0, size=12)
@example(n_carriers=1, n_not=2_000, n_doubtful=200, size=1)
def test_largest_null__finds_the_top_of_big_pools(n_carriers, n_not, n_doubtful, size):
    """Families that prove the gene, that all lack it, and single hatchlings that say little."""
    assume(n_carriers + n_not + n_doubtful)
    asked = target(MARSH, "Clay")
    rows = {
        pair_row(MARSH, "Clay", "", {1: 1}): n_carriers,
        pair_row(MARSH, "Clay", "", {0: size + 1}): n_not,
        pair_row(MARSH, "Clay", "", {0: 1}): n_doubtful,
    }
    rows = {one: times for one, times in rows.items() if times}
    found, rate = largest_null(pool_likelihood([(MARSH, asked, rows)], target_viability(asked)))

    def log_at(c):
        with np.errstate(divide="ignore", invalid="ignore"):
            parts = [
                n_carriers * np.log((1 - c) / 2) if n_carriers else 0 * c,
                n_not * np.log(c + (1 - c) / 2 ** (size + 1)) if n_not else 0 * c,
                n_doubtful * np.log(c + (1 - c) / 2) if n_doubtful else 0 * c,
            ]
        return parts[0] + parts[1] + parts[2]

    grid = np.unique(np.concatenate((np.linspace(0, 1, 20_001), np.geomspace(1e-7, 1, 20_001))))
    assert found >= log_at(grid).max() - 1e-6
    assert found == pytest.approx(log_at(np.array([rate]))[0], rel=1e-12)


def test_largest_null__is_of_the_way_asked_for():
    asked = target(MARSH, "Clay")
    pools = [(MARSH, asked, {pair_row(MARSH, "Clay", "", {0: 3, 1: 1}): 2})]
    found = pool_likelihood(pools, psi_distortions((0.5, 0.0, 1.0), 2))
    # Clay hatched, so the sire has it: 4 hatchlings with chances 2/3 and 1/3, and 1/2 each.
    assert largest_null(found, 0) == (pytest.approx(2 * log(8 / 81)), 0)
    assert largest_null(found, 1)[0] == -inf
    assert largest_null(found) == largest_null(found, 2) == (pytest.approx(2 * log(1 / 16)), 0)


@pytest.mark.parametrize("n_cells", [2, 4, 8])
def test_viability__has_every_recovery_ratio_and_mendel_last(n_cells):
    maps = viability(n_cells).maps
    assert maps.shape == (len(PSI_WEIGHTS) + 1, n_cells, n_cells)
    assert (maps[-1] == np.eye(n_cells)).all()
    for psi, one in zip(PSI_WEIGHTS, maps, strict=False):
        expected = np.eye(n_cells)
        expected[-1, -1] = psi
        assert (one == expected).all()


# --- what makes it safe -----------------------------------------------------------------------

PAIR = ("Clay, Dune", "Clay? 2/3")
CELLS = (0, 1, 2, 3)
RATES_OF_NATURE = (0.0, 0.02, 0.3, 1.0)


def clutch(*hatchlings):
    return {cell: hatchlings.count(cell) for cell in CELLS if cell in hatchlings}


def numerator(log_at):
    rates = np.array(list(RATE_WEIGHTS))
    weights = np.outer(list(PSI_WEIGHTS.values()), list(RATE_WEIGHTS.values()))
    return float((np.exp(log_at(rates, slice(0, len(PSI_WEIGHTS)))) * weights).sum())


def of_clutches(*clutches):
    asked = target(MARSH, "Clay", "Dune")
    one = row(MARSH, [PAIR[0]], [PAIR[1]], *(ClutchCounts(0, 0, counts(c)) for c in clutches))
    return pool_likelihood([(MARSH, asked, {one: 1})], viability(4))


def orders(hatchlings):
    """Number of orders in which hatchlings of one table can come."""
    left, found = len(hatchlings), 1
    for cell in CELLS:
        found *= comb(left, hatchlings.count(cell))
        left -= hatchlings.count(cell)
    return found


def tables(n):
    return {tuple(sorted(one)) for one in product(CELLS, repeat=n)}


@pytest.mark.parametrize("rate", RATES_OF_NATURE)
@pytest.mark.parametrize("n", [1, 4])
def test_e_value__is_1_at_most_on_average_over_every_outcome_of_a_clutch(rate, n):
    """Exactly: the mixture over the likelihood at the true rate has mean 1, the e-value less."""
    total = ratio_mean = e_mean = 0.0
    for hatchlings in tables(n):
        likelihood = of_clutches(clutch(*hatchlings))
        with np.errstate(divide="ignore"):
            true = float(np.exp(likelihood.log_at(np.array([rate]))[-1, 0])) * orders(hatchlings)
        mixture = numerator(likelihood.log_at) * orders(hatchlings)
        total += true
        ratio_mean += mixture
        e_mean += true * e_value(likelihood).value
    assert total == pytest.approx(1, rel=1e-12)
    # The sum over outcomes of chance times mixture / chance.
    assert ratio_mean == pytest.approx(1, rel=1e-12)
    assert 0 < e_mean <= 1 + 1e-12


@pytest.mark.parametrize("before", [(0, 1, 2), (3, 0), (2, 2, 2, 2)])
def test_e_value__is_the_same_on_average_after_another_clutch_of_the_same_pair(before):
    """The martingale: whatever was seen before, the mixture ratio stays as it is on average."""
    for rate in RATES_OF_NATURE[1:3]:
        first = of_clutches(clutch(*before))
        true_before = float(np.exp(first.log_at(np.array([rate]))[-1, 0]))
        expected = e_mean = 0.0
        for hatchlings in tables(3):
            both = of_clutches(clutch(*before), clutch(*hatchlings))
            true = float(np.exp(both.log_at(np.array([rate]))[-1, 0])) * orders(hatchlings)
            chance = true / true_before
            ratio = numerator(both.log_at) * orders(hatchlings) / true
            expected += chance * ratio
            e_mean += chance * e_value(both).value
        ratio_before = numerator(first.log_at) / true_before
        assert expected == pytest.approx(ratio_before, rel=1e-12)
        assert e_mean <= ratio_before * (1 + 1e-12)


@pytest.mark.parametrize("n_families", [1, 10, 1000])
@pytest.mark.parametrize(
    ("looks", "sire", "dam"),
    [
        ("Clay", "Clay", ""),
        ("Ash", "2 Ash", "Ash"),
        ("Ash", "Ash", "Ash"),
        ("Reed", "Reed", "Clay"),
    ],
)
def test_e_value__of_a_gene_that_never_shows_says_nothing(n_families, looks, sire, dam):
    """Its parents may all lack it, which explains everything."""
    pools = [(MARSH, target(MARSH, looks), {pair_row(MARSH, sire, dam, {0: 20}): n_families})]
    found = evidence(pools)
    assert found.value <= 1
    assert found.null_rate == 1


def test_e_value__of_a_pair_whose_genes_both_show_alone_is_strong():
    """40 hatchlings of both genes in every way but together, by hand at c = 0."""
    asked = target(MARSH, "Clay", "Dune")
    pools = [(MARSH, asked, {pair_row(MARSH, "Clay, Dune", "", {0: 14, 1: 13, 2: 13}): 1})]
    found = evidence(pools)
    assert found.null_rate == 0
    mixture = fsum(w * (1 - (1 - psi) / 4) ** -40 for psi, w in PSI_WEIGHTS.items())
    proved = fsum(w * (1 - rate) ** 2 for rate, w in RATE_WEIGHTS.items())
    assert found.log10 == pytest.approx(log10(mixture * proved), rel=1e-12)
    assert found.log10 > 4


def test_e_value__does_not_rise_with_a_hatchling_of_the_combination():
    asked = target(MARSH, "Clay", "Dune")
    values = [
        evidence([(MARSH, asked, {pair_row(MARSH, "Clay, Dune", "", {0: 9, 1: 9, 2: 9, 3: n}): 1})])
        for n in range(12)
    ]
    assert all(one.log10 > other.log10 for one, other in pairwise(values))
    assert values[-1].value < 1


def test_e_value__of_what_no_parents_could_give_is_1():
    asked = target(MARSH, "Clay")
    found = evidence([(MARSH, asked, {pair_row(MARSH, "", "", {1: 2}): 1})])
    assert (found.log10, found.value) == (0, 1)


def test_e_value__goes_on_where_a_float_would_overflow():
    asked = target(MARSH, "Clay", "Dune")
    half = 4_000
    found = evidence(
        [(MARSH, asked, {pair_row(MARSH, "Clay, Dune", "", {0: half, 1: half, 2: half}): 1})]
    )
    proved = fsum(w * (1 - rate) ** 2 for rate, w in RATE_WEIGHTS.items())
    expected = 3 * half * log10(4 / 3) + log10(PSI_WEIGHTS[0.0] * proved)
    assert found.log10 == pytest.approx(expected, rel=1e-12)
    assert found.log10 > 1000
    assert found.value == 1e300
    assert EValue(log10=2.0, null_rate=0.0).value == pytest.approx(prod([10, 10]))
