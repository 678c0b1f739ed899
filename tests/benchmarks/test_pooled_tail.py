"""Pooled tail of a million clutches, and beside ``scipy.stats.poisson_binom`` in the same run."""

import statistics
import subprocess
import sys
import time
from collections.abc import Callable
from fractions import Fraction

import numpy as np
import pytest
from scipy import stats

from genetics.evidence.tail import TailResult, pooled_tail

CHANCES = tuple(Fraction(*pair) for pair in ((1, 2), (1, 4), (3, 16), (1, 8), (1, 16), (1, 64)))
N_CLUTCHES = 1_000_000
N_BESIDE_SCIPY = 100_000
N_BEYOND_SCIPY = 400_000
SCIPY_PATIENCE = 10.0  # seconds
LEAST_RATIO = 300


def clutches_pooled(n_clutches: int) -> dict[Fraction, int]:
    """Hatchlings by chance of seeded clutches of 1 to 12 hatchlings."""
    random = np.random.default_rng(1866)
    sizes = random.integers(1, 13, n_clutches)
    kinds = random.integers(0, len(CHANCES), n_clutches)
    totals = np.bincount(kinds, weights=sizes, minlength=len(CHANCES))
    return {chance: int(total) for chance, total in zip(CHANCES, totals, strict=True)}


def equal_pool(n_hatchlings: int) -> dict[Fraction, int]:
    """The six chances in equal shares, the rest at the first."""
    each = n_hatchlings // len(CHANCES)
    return dict.fromkeys(CHANCES, each) | {CHANCES[0]: n_hatchlings - each * (len(CHANCES) - 1)}


def short_hits(pool: dict[Fraction, int], *, deviations: float) -> int:
    """Hits so many standard deviations below the expected number."""
    mean = float(sum(chance * n for chance, n in pool.items()))
    variance = float(sum(chance * (1 - chance) * n for chance, n in pool.items()))
    return int(mean - deviations * variance**0.5)


def seconds(call: Callable[[], object]) -> float:
    started = time.perf_counter()
    call()
    return time.perf_counter() - started


@pytest.mark.parametrize("deviations", [0.0, 3.0, 11.5, 60.0])
def test_pooled_tail__of_a_million_clutches(benchmark, deviations):
    pool = clutches_pooled(N_CLUTCHES)
    hits = short_hits(pool, deviations=deviations)
    result: TailResult = benchmark(pooled_tail, hits=hits, hatchlings_by_chance=pool)
    # The normal law is near enough to tell a right answer from a wrong one, not a good one.
    normal = stats.norm.logcdf(-deviations) / np.log(10)
    assert result.log10_probability == pytest.approx(normal, rel=0.05, abs=0.01)
    benchmark.extra_info["hatchlings"] = result.n_hatchlings
    benchmark.extra_info["log10_probability"] = result.log10_probability


def test_pooled_tail__is_300_times_faster_than_scipy(capsys):
    pool = equal_pool(N_BESIDE_SCIPY)
    by_hatchling = np.repeat([float(chance) for chance in pool], list(pool.values()))
    hits = short_hits(pool, deviations=3.0)
    found: list[float] = []

    ours = statistics.median(
        seconds(lambda: found.append(pooled_tail(hits=hits, hatchlings_by_chance=pool).probability))
        for _ in range(20)
    )
    scipys = seconds(lambda: found.append(float(stats.poisson_binom.cdf(hits, by_hatchling))))

    with capsys.disabled():
        print(
            f"\n{N_BESIDE_SCIPY} hatchlings: pooled_tail {ours * 1e3:.2f} ms, "
            f"scipy {scipys * 1e3:.0f} ms, ratio {scipys / ours:.0f}"
        )
    assert found[0] == pytest.approx(found[-1], rel=1e-9)
    assert scipys / ours >= LEAST_RATIO


def test_pooled_tail__answers_where_scipy_gives_no_answer_in_time(capsys):
    """scipy's time grows with the square of the hatchlings: a process of its own, stopped."""
    pool = equal_pool(N_BEYOND_SCIPY)
    hits = short_hits(pool, deviations=3.0)
    ours = seconds(lambda: pooled_tail(hits=hits, hatchlings_by_chance=pool))
    script = (
        "import numpy; from scipy import stats; "
        f"chances = numpy.repeat({[float(c) for c in pool]}, {list(pool.values())}); "
        f"stats.poisson_binom.cdf({hits}, chances)"
    )
    with pytest.raises(subprocess.TimeoutExpired):
        subprocess.run([sys.executable, "-c", script], timeout=SCIPY_PATIENCE, check=True)

    small, large = 25_000, 50_000
    times = [
        seconds(
            lambda n=n: stats.poisson_binom.cdf(
                n // 5, np.repeat([float(c) for c in equal_pool(n)], list(equal_pool(n).values()))
            )
        )
        for n in (small, large)
    ]
    growth = np.log2(times[1] / times[0])
    n_million = sum(clutches_pooled(N_CLUTCHES).values())
    hours = times[1] * (n_million / large) ** growth / 3600
    with capsys.disabled():
        print(
            f"\n{N_BEYOND_SCIPY} hatchlings: pooled_tail {ours * 1e3:.1f} ms, scipy stopped after "
            f"{SCIPY_PATIENCE:.0f} s; its time grows as n**{growth:.1f}, so {N_CLUTCHES} clutches "
            f"({n_million} hatchlings) would take it about {hours:.0f} hours"
        )
    assert ours < SCIPY_PATIENCE / LEAST_RATIO
