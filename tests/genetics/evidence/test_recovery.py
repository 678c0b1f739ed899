"""The recovery ratio and its interval against likelihoods by brute force."""

from itertools import pairwise

import numpy as np
import pytest
from scipy.optimize import brentq, minimize_scalar
from scipy.stats import binom, chi2

from genetics.evidence.recovery import LARGEST_PSI, PSIS, SMALLEST_PSI, recovery_ratio
from genetics.pool.pool import ClutchCounts
from tests.factories.pools import MARSH, counts, pair_row, row, target
from tests.oracles.latent_families import hatching, log_chance, pool_chances

HALF_DROP = chi2.ppf(0.95, 1) / 2
RATES = np.unique(np.concatenate((np.linspace(0, 1, 201), np.geomspace(1e-4, 1, 200))))


def profile(pools, psi):
    """Largest log-likelihood over the rate of missing genes."""
    families = pool_chances(pools, hatching(psi))
    return max(log_chance(families, rate) for rate in RATES)


def pool(looks, *rows):
    return [(MARSH, target(MARSH, *looks), dict(rows))]


POOLS = {
    "a rare pair": pool(
        ("Clay", "Dune"), (pair_row(MARSH, "Clay, Dune", "", {0: 12, 1: 11, 2: 13, 3: 3}), 1)
    ),
    "families that may lack a gene": pool(
        ("Clay", "Dune"),
        (pair_row(MARSH, "Clay, Dune", "", {0: 2, 1: 2, 2: 2}), 4),
        (pair_row(MARSH, "Clay", "Dune", {0: 3, 1: 3}), 2),
        (pair_row(MARSH, "Clay, Dune", "", {0: 1, 1: 2, 2: 1, 3: 1}), 3),
    ),
    "possible hets and uncertain calls": pool(
        ("Ash",),
        (pair_row(MARSH, "2 Ash", "Ash? 2/3", {0: 4, 1: 1, (0, 1): 1}), 3),
        (pair_row(MARSH, "Ash", "Ash", {0: 6}), 2),
    ),
    "more than expected": pool(
        ("Clay", "Dune"), (pair_row(MARSH, "Clay, Dune", "", {0: 3, 1: 4, 2: 3, 3: 9}), 1)
    ),
}


@pytest.mark.parametrize("name", POOLS)
def test_recovery_ratio__ends_where_the_likelihood_has_dropped(name):
    pools = POOLS[name]
    found = recovery_ratio(pools)
    assert found.level == 0.95
    assert found.low < found.estimate < found.high
    top = profile(pools, found.estimate)
    best = minimize_scalar(lambda psi: -profile(pools, psi), bounds=(0, 5), options={"xatol": 1e-4})
    assert top == pytest.approx(-best.fun, abs=2e-3)
    assert found.estimate == pytest.approx(best.x, rel=0.01)
    for end in (found.low, found.high):
        if 0 < end < LARGEST_PSI:
            assert top - profile(pools, end) == pytest.approx(HALF_DROP, abs=2e-3), end
    if found.low == 0:
        assert top - profile(pools, 0) <= HALF_DROP + 2e-3
    if found.high == LARGEST_PSI:
        assert top - profile(pools, LARGEST_PSI) <= HALF_DROP + 2e-3


# --- the binomial law -------------------------------------------------------------------------


def binomial_interval(hits, n, chance):
    """Estimate and likelihood interval of psi where every hatchling has the same chance.

    A hit has chance psi p / (1 - p + psi p) among those that hatch. Binomial, by scipy.
    """

    def log_at(psi):
        return binom.logpmf(hits, n, psi * chance / (1 - chance + psi * chance))

    share = hits / n
    estimate = share * (1 - chance) / (chance * (1 - share))
    top = log_at(estimate)
    low = brentq(lambda psi: log_at(psi) - top + HALF_DROP, 1e-9, estimate)
    high = brentq(lambda psi: log_at(psi) - top + HALF_DROP, estimate, 60)
    return estimate, low, high


@pytest.mark.parametrize(
    ("looks", "sire", "dam", "chance", "n", "hits"),
    [
        (("Clay",), "Clay", "", 1 / 2, 40, 5),
        (("Clay",), "Clay", "", 1 / 2, 60, 29),
        (("Ash",), "Ash", "Ash", 1 / 4, 100, 3),
        (("Ash",), "2 Ash", "Ash", 1 / 2, 500, 100),
        (("Clay", "Dune"), "Clay, Dune", "", 1 / 4, 200, 1),
        (("Clay", "Dune", "Fen"), "Clay, Dune", "Fen", 1 / 8, 4000, 480),
    ],
)
def test_recovery_ratio__of_parents_that_the_hits_prove_is_binomial(
    looks, sire, dam, chance, n, hits
):
    asked = target(MARSH, *looks)
    # What is no hit is shared out so that the other cells say nothing of what is missing.
    rest = [0] if len(looks) == 1 else list(range(asked.n_cells - 1))
    cells = {cell: (n - hits) // len(rest) for cell in rest}
    cells[0] += n - hits - sum(cells.values())
    found = recovery_ratio(
        [(MARSH, asked, {pair_row(MARSH, sire, dam, cells | {asked.n_cells - 1: hits}): 1})]
    )
    estimate, low, high = binomial_interval(hits, n, chance)
    assert found.estimate == pytest.approx(estimate, rel=1e-3, abs=1e-5)
    assert found.low == pytest.approx(low, rel=1e-3, abs=1e-5)
    assert found.high == pytest.approx(high, rel=1e-3, abs=1e-5)


# --- the borders ------------------------------------------------------------------------------


@pytest.mark.parametrize("n", [12, 30, 90, 600])
def test_recovery_ratio__of_a_combination_that_never_hatched_ends_where_none_is_1_in_20(n):
    """Both genes show alone, so the parents have them: (1 + psi / 3)**-n = 1/20 of a quarter."""
    each = n // 3
    found = recovery_ratio(
        pool(
            ("Clay", "Dune"),
            (pair_row(MARSH, "Clay, Dune", "", {0: each, 1: each, 2: each}), 1),
        )
    )
    assert (found.estimate, found.low) == (0, 0)
    high = 3 * (0.05 ** (-1 / n) - 1)
    assert found.high == pytest.approx(high, rel=1e-3, abs=1e-5)


def test_recovery_ratio__of_one_sure_hit_does_not_reach_never():
    found = recovery_ratio(
        pool(
            ("Clay", "Dune"),
            (pair_row(MARSH, "Clay, Dune", "", {0: 200, 1: 200, 2: 200, 3: 1}), 1),
        )
    )
    assert 0 < found.low < found.estimate < found.high < 0.1


def test_recovery_ratio__of_an_uncertain_hit_does():
    found = recovery_ratio(
        pool(
            ("Clay", "Dune"),
            (pair_row(MARSH, "Clay, Dune", "", {0: 20, 1: 20, 2: 20, (1, 3): 1}), 1),
        )
    )
    assert (found.estimate, found.low) == (0, 0)


def test_recovery_ratio__of_hardly_anything_is_anything():
    for cells in ({0: 1}, {1: 1}):
        found = recovery_ratio(pool(("Clay",), (pair_row(MARSH, "Clay", "", cells), 1)))
        assert found.low < 1 < found.high
        assert found.high == LARGEST_PSI


def test_recovery_ratio__has_1_inside_where_counts_are_as_expected():
    found = recovery_ratio(
        pool(
            ("Clay", "Dune"),
            (pair_row(MARSH, "Clay, Dune", "", dict.fromkeys(range(4), 250)), 1),
        )
    )
    assert found.estimate == pytest.approx(1, abs=0.01)
    assert found.low < 1 < found.high
    assert found.high - found.low < 0.35


def test_recovery_ratio__narrows_with_the_level():
    pools = POOLS["a rare pair"]
    wide, narrow = recovery_ratio(pools, level=0.99), recovery_ratio(pools, level=0.5)
    middle = recovery_ratio(pools)
    assert wide.low < middle.low < narrow.low < narrow.high < middle.high < wide.high
    assert wide.level == 0.99
    drop = profile(pools, wide.estimate) - profile(pools, wide.high)
    assert drop == pytest.approx(chi2.ppf(0.99, 1) / 2, abs=2e-3)


def test_recovery_ratio__of_a_big_pool_is_binomial_as_well():
    """10,000 families of one pair: an interval far narrower than the values that are computed."""
    family = row(MARSH, ["Clay, Dune"], [""], ClutchCounts(0, 0, counts({0: 5, 1: 5, 2: 5, 3: 1})))
    found = recovery_ratio(pool(("Clay", "Dune"), (family, 10_000)))
    estimate, low, high = binomial_interval(10_000, 160_000, 1 / 4)
    assert found.estimate == pytest.approx(estimate, rel=1e-3)
    assert found.low == pytest.approx(low, rel=1e-3)
    assert found.high == pytest.approx(high, rel=1e-3)
    assert found.low <= estimate <= found.high


def test_recovery_ratio__of_what_no_parents_could_give_is_anything():
    found = recovery_ratio(pool(("Clay",), (pair_row(MARSH, "", "", {1: 2}), 1)))
    assert (found.low, found.estimate, found.high) == (0, 1, LARGEST_PSI)


def test_psis__run_from_never_to_the_largest():
    assert PSIS[0] == 0
    assert PSIS[1] == pytest.approx(SMALLEST_PSI)
    assert PSIS[-1] == pytest.approx(LARGEST_PSI)
    assert all(one < other for one, other in pairwise(PSIS))
