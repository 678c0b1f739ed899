"""Rows as if the combination had hardly hatched."""

from collections import Counter

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from genetics.evidence.few_hits import with_few_hits
from genetics.model.species import Sex
from genetics.pool.pool import ClutchCounts
from tests.factories.pairings import small_species
from tests.factories.pools import MARSH, counts, families, pair_row, row, target, targets


def by_sex(clutch):
    found = Counter()
    for cell in clutch.cells:
        found[cell.sex] += cell.count
    return found


def cells_of(clutch):
    return {cell.cells[0]: cell.count for cell in clutch.cells}


@st.composite
def drawn_families(draw):
    species = draw(small_species(most_loci=2))
    asked = draw(targets(species))
    return species, asked, draw(families(species, asked))


@settings(max_examples=150, deadline=None)
@given(drawn=drawn_families(), n_hits=st.integers(0, 3))
def test_with_few_hits__keeps_all_but_the_cells(drawn, n_hits):
    species, asked, one = drawn
    found = with_few_hits(species, asked, one, n_hits=n_hits)
    assert (found.sires, found.dams) == (one.sires, one.dams)
    assert len(found.clutches) == len(one.clutches)
    for place, (before, after) in enumerate(zip(one.clutches, found.clutches, strict=True)):
        assert (after.sire, after.dam, after.n_died, after.declared) == (
            before.sire, before.dam, before.n_died, before.declared,
        )  # fmt: skip
        assert by_sex(after) == by_sex(before)
        assert all(cell.count > 0 and len(cell.cells) == 1 for cell in after.cells)
        hits = sum(cell.count for cell in after.cells if cell.cells == (asked.n_cells - 1,))
        total = sum(cell.count for cell in before.cells)
        assert hits <= (0 if place else min(n_hits, total))


@pytest.mark.parametrize(
    ("sire", "dam", "n", "n_hits", "cells"),
    [
        ("Clay, Dune", "", 12, 0, {0: 4, 1: 4, 2: 4}),
        ("Clay, Dune", "", 13, 1, {0: 4, 1: 4, 2: 4, 3: 1}),
        ("Clay, Dune", "", 2, 5, {3: 2}),
        ("2 Clay, Dune", "", 6, 0, {1: 6}),  # every one has Clay
        ("Clay, Dune", "Clay", 15, 0, {0: 3, 1: 9, 2: 3}),  # 1 : 3 : 1 of five without a hit
        ("Clay? 1/2, Dune", "", 7, 0, {0: 3, 1: 1, 2: 3}),  # 3 : 1 : 3
    ],
)
def test_with_few_hits__spreads_the_others_as_expected(sire, dam, n, n_hits, cells):
    asked = target(MARSH, "Clay", "Dune")
    found = with_few_hits(MARSH, asked, pair_row(MARSH, sire, dam, {3: n}), n_hits=n_hits)
    assert cells_of(found.clutches[0]) == cells


@pytest.mark.parametrize("n", range(1, 30))
def test_with_few_hits__rounds_so_that_none_is_lost_and_none_is_far_off(n):
    asked = target(MARSH, "Clay", "Dune", "Fen")
    found = with_few_hits(
        MARSH, asked, pair_row(MARSH, "Clay, Dune", "Fen, Clay", {0: n}), n_hits=0
    )
    cells = cells_of(found.clutches[0])
    assert sum(cells.values()) == n
    chances = {0: 1, 1: 3, 2: 1, 3: 3, 4: 1, 5: 3, 6: 1}
    for cell, chance in chances.items():
        assert abs(cells.get(cell, 0) - n * chance / 13) < 1


def test_with_few_hits__puts_hits_in_the_first_clutch_only():
    one = row(
        MARSH, ["Clay, Dune"], ["", "Clay"],
        ClutchCounts(0, 0, counts({0: 2, 3: 2})), ClutchCounts(0, 1, counts({3: 5})),
    )  # fmt: skip
    found = with_few_hits(MARSH, target(MARSH, "Clay", "Dune"), one, n_hits=1)
    assert [cells_of(clutch).get(3, 0) for clutch in found.clutches] == [1, 0]


def test_with_few_hits__knows_which_sex_can_show_what():
    """Elm on Z of the sire: sons never show it, half of the daughters do."""
    asked = target(MARSH, "Elm")
    cells = (*counts({1: 4}, Sex.FEMALE), *counts({0: 3}, Sex.MALE))
    one = row(MARSH, ["Elm"], [""], ClutchCounts(0, 0, cells))
    found = with_few_hits(MARSH, asked, one, n_hits=1)
    assert {(cell.sex, cell.cells): cell.count for cell in found.clutches[0].cells} == {
        (Sex.FEMALE, (0,)): 3,
        (Sex.FEMALE, (1,)): 1,
        (Sex.MALE, (0,)): 3,
    }


def test_with_few_hits__gives_hits_to_the_sex_that_can_show_them_wherever_it_stands():
    asked = target(MARSH, "Elm")
    cells = (*counts({0: 3}, Sex.MALE), *counts({1: 4}, Sex.FEMALE))
    one = row(MARSH, ["Elm"], [""], ClutchCounts(0, 0, cells))
    found = with_few_hits(MARSH, asked, one, n_hits=1)
    hits = [cell for cell in found.clutches[0].cells if cell.cells == (1,)]
    assert [(cell.sex, cell.count) for cell in hits] == [(Sex.FEMALE, 1)]
