"""Declared clutches, one keeper less, unreported successes: by direct recomputation."""

from dataclasses import replace

import pytest

from genetics.evidence.evalue import WATCH_E_VALUE, e_value, target_viability
from genetics.evidence.likelihood import pool_likelihood
from genetics.evidence.robustness import (
    MOST_SUCCESSES,
    declared_only,
    successes_to_undo,
    without_top_keeper,
)
from genetics.pool.pool import ClutchCounts
from tests.factories.pools import MARSH, counts, pair_row, row, target

ASKED = target(MARSH, "Clay", "Dune")
NONE = {0: 3, 1: 3, 2: 3}


def pool(*rows):
    return [(MARSH, ASKED, dict(rows))]


def likelihood(pools):
    return pool_likelihood(pools, target_viability(ASKED))


def evidence(pools):
    return e_value(likelihood(pools))


def pair(cells, **said):
    return pair_row(MARSH, "Clay, Dune", "", cells, **said)


# --- declared ---------------------------------------------------------------------------------


def test_declared_only__takes_declared_clutches_out_of_their_families():
    one, other = counts(NONE), counts({0: 1, 1: 1, 3: 1})
    family = row(
        MARSH, ["Clay, Dune"], ["", "Clay"],
        ClutchCounts(0, 0, one, declared=True), ClutchCounts(0, 1, other),
        ClutchCounts(0, 0, other, declared=True),
    )  # fmt: skip
    mixed = pool((family, 2), (pair(NONE), 3), (pair(NONE, declared=True), 4))
    left = row(
        MARSH, ["Clay, Dune"], ["", "Clay"],
        ClutchCounts(0, 0, one, declared=True), ClutchCounts(0, 0, other, declared=True),
    )  # fmt: skip
    expected = evidence(pool((left, 2), (pair(NONE), 4)))
    assert declared_only(mixed).log10 == pytest.approx(expected.log10, rel=1e-12)
    assert declared_only(mixed).log10 != pytest.approx(evidence(mixed).log10, rel=0.01)


def test_declared_only__adds_families_that_are_the_same_without_the_rest():
    both = [ClutchCounts(0, 0, counts(NONE), declared=True), ClutchCounts(0, 0, counts({0: 4}))]
    family = row(MARSH, ["Clay, Dune"], [""], *both)
    found = declared_only(pool((family, 2), (replace(family, clutches=tuple(both[:1])), 3)))
    assert found.log10 == pytest.approx(evidence(pool((pair(NONE), 5))).log10, rel=1e-12)


def test_declared_only__leaves_out_versions_without_any():
    declared = pool((pair(NONE, declared=True), 2))
    found = declared_only([*pool((pair(NONE), 5)), *declared])
    assert found == evidence(declared)
    assert declared_only(pool((pair(NONE), 5))) is None


# --- without one keeper -----------------------------------------------------------------------


def test_without_top_keeper__is_the_least_over_all_keepers_left_out():
    by_keeper = {
        "a": pool((pair(NONE), 3)),
        "b": pool((pair(NONE), 1), (pair({0: 2, 1: 2, 3: 1}), 1)),
        "c": pool((pair({0: 5, 1: 4, 2: 6}), 1)),
        "d": pool((pair({0: 8, 1: 8}), 2)),
    }

    def left(out):
        return evidence([one for keeper in by_keeper if keeper != out for one in by_keeper[keeper]])

    found = without_top_keeper(by_keeper)
    values = {keeper: left(keeper).log10 for keeper in by_keeper}
    assert found.log10 == pytest.approx(min(values.values()), rel=1e-12)
    assert min(values, key=values.get) == "a"
    assert found.log10 < evidence([one for pools in by_keeper.values() for one in pools]).log10
    # The keeper who had some hatch is not the one: without them the evidence is stronger.
    assert values["b"] > found.log10 + 1


def test_without_top_keeper__copes_with_clutches_that_no_parents_could_give():
    impossible = pool((pair_row(MARSH, "", "", {3: 1}), 1))
    found = without_top_keeper({"a": pool((pair(NONE), 5)), "b": impossible, "c": impossible})
    assert found.log10 == 0


def test_without_top_keeper__of_one_keeper_is_nothing():
    assert without_top_keeper({}) is None
    assert without_top_keeper({"a": pool((pair(NONE), 3))}) is None


def test_without_top_keeper__who_alone_has_all_evidence_leaves_none():
    by_keeper = {
        "a": pool((pair(NONE), 9)),
        "b": pool((pair({0: 1}), 1)),
        "c": pool((pair({3: 1}), 1)),
    }
    assert without_top_keeper(by_keeper).value < 1


# --- successes that nobody reported -----------------------------------------------------------


@pytest.mark.parametrize("cells", [{0: 30, 1: 30, 2: 30, 3: 1}, {0: 90, 1: 80, 2: 85, 3: 3}])
def test_successes_to_undo__are_as_many_hits_as_must_be_added(cells):
    """One family that its hits have proved: further ones can be added to the row itself."""
    pools = pool((pair(cells), 1))
    found = successes_to_undo(likelihood(pools), hit_chance=1 / 4)

    def with_more(n):
        return evidence(pool((pair(cells | {3: cells[3] + n}), 1))).value

    assert with_more(0) >= WATCH_E_VALUE
    assert found >= 1
    assert with_more(found) < WATCH_E_VALUE <= with_more(found - 1)


def test_successes_to_undo__follow_the_level_and_the_chance_of_a_hit():
    one = likelihood(pool((pair({0: 30, 1: 30, 2: 30, 3: 1}), 1)))
    easier = successes_to_undo(one, hit_chance=1 / 4, threshold=1000)
    assert easier < successes_to_undo(one, hit_chance=1 / 4)
    # A hit that was likely says more against a shortage than one that was not.
    assert successes_to_undo(one, hit_chance=9 / 16) >= successes_to_undo(one, hit_chance=1 / 16)


def test_successes_to_undo__of_a_combination_that_never_hatched():
    """Never is excluded by the first one, so it goes before all others."""
    one = likelihood(pool((pair({0: 10, 1: 10, 2: 10}), 1)))
    assert e_value(one).value > WATCH_E_VALUE
    assert successes_to_undo(one, hit_chance=1 / 4) >= 1


def test_successes_to_undo__are_none_below_the_level():
    one = likelihood(pool((pair({0: 2, 1: 2, 2: 2}), 1)))
    assert e_value(one).value < WATCH_E_VALUE
    assert successes_to_undo(one, hit_chance=1 / 4) == 0


def test_successes_to_undo__are_no_more_than_are_tried():
    one = likelihood(pool((pair({0: 3000, 1: 3000, 2: 3000, 3: 1}), 1)))
    assert successes_to_undo(one, hit_chance=1 / 4) == MOST_SUCCESSES
