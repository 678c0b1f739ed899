"""Cost of the evidence: it follows the number of distinct pool rows, not of clutches.

Ratios within one run, on the same machine; the numbers are printed with ``-s``.
"""

from __future__ import annotations

import time
from collections import Counter
from random import Random

import pytest

from genetics.evidence.evalue import e_value, target_viability
from genetics.evidence.likelihood import _family, pool_likelihood
from genetics.evidence.verdict import verdict_of
from genetics.model.belief import ParentStatement
from genetics.model.locus import Allele, Locus, Mode
from genetics.model.species import Sex, SexSystem, Species
from genetics.model.statement import StatedLocus, stated_genes
from genetics.pool.cells import CellCount
from genetics.pool.pool import ClutchCounts, PoolRow
from genetics.pool.target import locus_factors, target_of
from tests.benchmarks.crowd import multiply, report_one, small_registry

SPECIES = Species(
    key="invented",
    name="invented",
    sex_system=SexSystem.NONE,
    loci=tuple(Locus(f"locus-{name}", (Allele(name, Mode.INCOMPLETE_DOMINANT),)) for name in "AB"),
)
SIRE, DAM = (
    ParentStatement(stated_genes(SPECIES, {f"locus-{name}": StatedLocus(certain=(name,))}), sex)
    for name, sex in (("A", Sex.MALE), ("B", Sex.FEMALE))
)
TARGET = target_of(
    SPECIES,
    [next(one for one in locus_factors(locus) if len(one.text) == 1) for locus in SPECIES.loci],
)
CELLS = (0, 3, 12, 15)


def random_row(random: Random) -> PoolRow:
    drawn = Counter(random.choice(CELLS) for _hatchling in range(random.randint(3, 9)))
    cells = tuple(CellCount(None, (cell,), n) for cell, n in sorted(drawn.items()))
    return PoolRow((SIRE,), (DAM,), (ClutchCounts(0, 0, cells),))


def pool_of(n_clutches: int, n_rows: int, seed: int = 1) -> Counter[PoolRow]:
    """A pool of so many clutches in about so many distinct rows."""
    random = Random(seed)
    rows = list({random_row(random) for _row in range(n_rows)})
    pool = Counter(rows)
    for row in rows:
        pool[row] += (n_clutches - len(rows)) // len(rows)
    return pool


def seconds(call) -> float:
    start = time.perf_counter()
    call()
    return time.perf_counter() - start


def evidence(pool) -> float:
    _family.cache_clear()
    found = e_value(pool_likelihood([(SPECIES, TARGET, pool)], target_viability(TARGET)))
    return found.log10


def test_evidence__time_follows_distinct_rows_not_clutches():
    pools = {n: pool_of(n, 100) for n in (100, 10_000, 1_000_000)}
    evidence(pools[100])
    times = {n: min(seconds(lambda p=p: evidence(p)) for _ in range(5)) for n, p in pools.items()}
    for n, taken in times.items():
        print(f"\n{n:>9} clutches, {len(pools[n])} rows: {1000 * taken:.1f} ms", end="")
    assert times[1_000_000] < 2 * times[100]
    more_rows = pool_of(10_000, 1_000)
    wider = min(seconds(lambda: evidence(more_rows)) for _ in range(3))
    ratio = wider / times[10_000]
    rows = len(more_rows) / len(pools[10_000])
    print(
        f"\n{len(more_rows)} rows: {1000 * wider:.1f} ms, {ratio:.1f} x for {rows:.1f} x the rows"
    )
    assert ratio < 3 * rows


def test_screening__of_5000_targets_against_one():
    """The same work for each of many targets: their pools have 20 rows each, all in common."""
    pool = pool_of(60, 20)
    verdict_of([(SPECIES, TARGET, pool)])
    one = min(seconds(lambda: verdict_of([(SPECIES, TARGET, pool)])) for _ in range(20))
    many = seconds(lambda: [verdict_of([(SPECIES, TARGET, pool)]) for _target in range(5_000)])
    print(f"\nscreening 5,000 targets: {many:.1f} s, one {1000 * one:.2f} ms")
    assert many < 5_000 * one * 3


@pytest.mark.django_db(transaction=True)
def test_report__to_updated_flag_at_100000_clutches():
    """A report and the answer that reflects it, beside the same in an almost empty registry."""
    keeper = small_registry()
    report_one(keeper)
    empty = min(seconds(lambda: report_one(keeper)) for _ in range(5))
    n_clutches = multiply(100_000)
    report_one(keeper)
    full = min(seconds(lambda: report_one(keeper)) for _ in range(5))
    print(
        f"\nreport and updated flag: {1000 * empty:.0f} ms at 60 clutches, "
        f"{1000 * full:.0f} ms at {n_clutches}: {full / empty:.1f} x"
    )
    assert n_clutches > 100_000
    assert full < 10 * empty
