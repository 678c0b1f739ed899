"""Pools of catalogue versions that disagree on what a gene shows: the same cells in all."""

from dataclasses import replace
from fractions import Fraction

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from genetics.evidence.evalue import e_value, target_viability
from genetics.evidence.hits import pool_hits
from genetics.evidence.likelihood import pool_likelihood
from genetics.model.locus import Allele, Compound, Locus, Mode
from genetics.model.species import SexSystem, Species
from genetics.pool.target import Target
from genetics.pool.versions import aligned
from tests.factories.pools import counts, pair_row, small_pools, target


def fen(mode, *, compound="Fen Haze"):
    """One gene of a stated mode beside a dominant one, and a compound with or without a look."""
    return Species(
        "fen", "fen gecko", SexSystem.NONE,
        (
            Locus("ash", (Allele("Ash", mode),)),
            Locus("bay", (Allele("Bay", Mode.DOMINANT),)),
            Locus(
                "reed", (Allele("Reed", Mode.DOMINANT), Allele("Rush", Mode.DOMINANT)),
                (Compound(("Reed", "Rush"), compound),),
            ),
        ),
    )  # fmt: skip


OLD, NEW = fen(Mode.RECESSIVE), fen(Mode.INCOMPLETE_DOMINANT)


def test_aligned__leaves_versions_that_agree_as_they_are():
    asked = target(OLD, "Bay")
    pools = [
        (OLD, asked, {pair_row(OLD, "Bay", "", {0: 3, 1: 2}): 2}),
        (NEW, target(NEW, "Bay"), {pair_row(NEW, "Bay", "", {0: 1}): 1}),
    ]
    assert aligned(pools) == pools
    assert aligned([]) == []


def test_aligned__reduces_a_factor_to_what_all_versions_can_tell():
    old, new = target(OLD, "Ash", "Bay"), target(NEW, "Ash", "Bay")
    assert (old.n_cells, new.n_cells) == (4, 8)
    # New: bits 0 and 1 are Ash, bit 2 is Bay. 1 is another form of Ash, which is not Ash here.
    fine = {0: 1, 1: 2, 3: 4, 4: 8, (1, 5): 16, (3, 7): 32, 7: 64, (0, 1): 128}
    pools = [
        (OLD, old, {pair_row(OLD, "Ash, Bay", "Ash", {0: 5, 3: 1}): 1}),
        (NEW, new, {pair_row(NEW, "Ash, Bay", "Ash", fine): 3}),
    ]
    same, changed = aligned(pools)
    assert same == pools[0]
    assert changed[1].n_cells == 4
    assert changed[1].wanted == new.wanted
    ((row, times),) = changed[2].items()
    assert times == 3
    coarse = {0: 1 + 2 + 128, (0, 2): 16, 1: 4, (1, 3): 32, 2: 8, 3: 64}
    assert row.clutches[0].cells == counts(coarse)


def test_aligned__joins_rows_that_become_equal():
    old, new = target(OLD, "Ash"), target(NEW, "Ash")
    rows = {
        pair_row(NEW, "Ash", "Ash", {0: 2, 1: 3, 3: 1}): 1,
        pair_row(NEW, "Ash", "Ash", {0: 3, 1: 2, 3: 1}): 2,
    }
    _same, changed = aligned(
        [(OLD, old, {pair_row(OLD, "Ash", "Ash", {0: 1}): 1}), (NEW, new, rows)]
    )
    assert changed[2] == {pair_row(NEW, "Ash", "Ash", {0: 5, 1: 1}): 3}


def test_aligned__gives_up_the_genes_of_a_compound_that_one_version_does_not_know_as_one():
    shared = fen(Mode.RECESSIVE, compound="Reed")
    one, other = target(OLD, "Fen Haze"), target(shared, "Reed")
    assert (one.factors[0].alleles, other.factors[0].alleles) == (("Reed", "Rush"), ())
    changed, same = aligned(
        [
            (OLD, one, {pair_row(OLD, "Reed", "Rush", {0: 1, 1: 2, 2: 4, 3: 8}): 1}),
            (shared, other, {pair_row(shared, "Reed", "", {0: 1, 1: 1}): 1}),
        ]
    )
    ((row, _times),) = changed[2].items()
    assert row.clutches[0].cells == counts({0: 7, 1: 8})
    assert changed[1].n_cells == same[1].n_cells == 2


def test_aligned__makes_sums_over_versions_possible():
    """The e-value of both versions against the same pool written in coarse cells by hand."""
    clutches = {"old": {0: 20, 1: 1}, "new": {0: 5, 1: 30, 3: 2}}
    pools = [
        (OLD, target(OLD, "Ash"), {pair_row(OLD, "Ash", "Ash", clutches["old"]): 2}),
        (NEW, target(NEW, "Ash"), {pair_row(NEW, "Ash", "2 Ash", clutches["new"]): 2}),
    ]
    # Under the new version Ash is one copy: 1 in 2 of a pairing of one with two copies.
    found = aligned(pools)
    likelihood = pool_likelihood(found, target_viability(found[0][1]))
    apart = [pool_likelihood([one], target_viability(one[1])) for one in found]
    rates = np.array([0.0, 0.1, 0.7])
    assert np.allclose(
        likelihood.log_at(rates), sum(one.log_at(rates) for one in apart), rtol=1e-12
    )
    assert e_value(likelihood).log10 > 0
    assert pool_hits(found).expected == 2 * Fraction(21, 4) + 2 * Fraction(37, 2)


@settings(max_examples=100, deadline=None)
@given(drawn=small_pools(), data=st.data())
def test_aligned__changes_no_hits(drawn, data):
    """Against any other shape of the same factors: hits and hatchlings stay what they were."""
    ((species, asked, rows),) = drawn
    other = Target(
        factors=tuple(
            replace(one, alleles=(), has_other_forms=False) if data.draw(st.booleans()) else one
            for one in asked.factors
        )
    )
    found = aligned([(species, asked, rows), (species, other, {})])
    before, after = pool_hits(drawn), pool_hits([found[0]])
    assert (before.n_hits, before.n_hits_possible, before.n_hatchlings) == (
        after.n_hits,
        after.n_hits_possible,
        after.n_hatchlings,
    )
    assert before.expected == after.expected
    assert found[0][1].n_cells == other.n_cells
