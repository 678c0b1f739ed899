"""One target of a twelve-locus pairing, and beside it the joint table walked through."""

import statistics
import time
import tracemalloc
from collections.abc import Callable
from fractions import Fraction

import pytest

from genetics.cross.gametes import gametes
from genetics.cross.offspring import (
    Pairing,
    chance_law,
    genotype_table,
    group_offspring,
    mean_chance,
)
from genetics.model.locus import Allele, Locus, Mode
from genetics.model.species import SexSystem, Species
from tests.factories.pairings import pairing_of

N_LOCI = 12
N_ENTRIES = 3**N_LOCI
LEAST_RATIO = 1_000
LEAST_MEMORY_RATIO = 100

pytestmark = pytest.mark.bench
WANTED = {key: frozenset({("Gene " + key, "Gene " + key)}) for key in ("l03", "l07", "l11")}


def het_pairing() -> Pairing:
    """Both parents het for twelve recessive genes: 531,441 genotypes."""
    keys = [f"l{n:02}" for n in range(N_LOCI)]
    loci = tuple(Locus(key, (Allele(f"Gene {key}", Mode.RECESSIVE),)) for key in keys)
    species = Species("wide", "wide gecko", SexSystem.NONE, loci)
    hets = ", ".join(f"Gene {key}" for key in keys)
    return pairing_of(species, hets, hets)


def by_law(pairing: Pairing) -> Fraction:
    """The chance of the target, with nothing remembered from before."""
    gametes.cache_clear()
    group_offspring.cache_clear()
    return mean_chance(chance_law(pairing, WANTED))


def by_table(pairing: Pairing) -> Fraction:
    """The same by counting every genotype of the joint table."""
    gametes.cache_clear()
    group_offspring.cache_clear()
    total, n_entries = Fraction(0), 0
    for genotype, _sex, chance in genotype_table(pairing, limit=N_ENTRIES):
        n_entries += 1
        if all(genotype.get(key) in pairs for key, pairs in WANTED.items()):
            total += chance
    assert n_entries == N_ENTRIES
    return total


def measured(call: Callable[[], Fraction]) -> tuple[float, Fraction]:
    """Seconds, and what came out."""
    started = time.perf_counter()
    found = call()
    return time.perf_counter() - started, found


def peak_bytes(call: Callable[[], object]) -> int:
    """Most memory held at once, with nothing remembered from before."""
    gametes.cache_clear()
    group_offspring.cache_clear()
    tracemalloc.start()
    call()
    _now, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    return peak


def test_chance_law__of_one_target_of_twelve_loci(benchmark):
    pairing = het_pairing()
    assert benchmark(by_law, pairing) == Fraction(1, 4) ** len(WANTED)


def test_chance_law__is_1000_times_faster_than_the_joint_table(benchmark, capsys):
    pairing = het_pairing()
    by_law(pairing)
    benchmark.pedantic(by_law, args=(pairing,), rounds=50)
    ours = statistics.median(measured(lambda: by_law(pairing))[0] for _ in range(50))
    theirs, counted = measured(lambda: by_table(pairing))
    ratio = theirs / ours
    with capsys.disabled():
        print(
            f"\n{N_ENTRIES} genotypes: chance_law {ours * 1e6:.0f} us, joint table "
            f"{theirs:.2f} s, ratio {ratio:.0f}"
        )
    benchmark.extra_info["ratio"] = ratio
    assert counted == by_law(pairing) == Fraction(1, 64)
    assert ratio >= LEAST_RATIO


def test_chance_law__needs_no_memory_for_the_joint_table(benchmark, capsys):
    """Nine loci, 19,683 genotypes: the table as a list against the law."""
    pairing = het_pairing()
    few = {key: frozenset({("+", "+"), ("Gene " + key, "+")}) for key in ("l00", "l01", "l02")}
    law = peak_bytes(lambda: chance_law(pairing, few))
    narrow = Species("narrow", "narrow gecko", SexSystem.NONE, pairing.species.loci[:9])
    hets = ", ".join(f"Gene {locus.key}" for locus in narrow.loci)
    table_pairing = pairing_of(narrow, hets, hets)
    listed = peak_bytes(lambda: list(genotype_table(table_pairing)))
    benchmark.pedantic(chance_law, args=(pairing, few), rounds=5)
    with capsys.disabled():
        print(f"\nmemory: chance_law {law} bytes, list of 3**9 genotypes {listed} bytes")
    assert listed / law >= LEAST_MEMORY_RATIO
