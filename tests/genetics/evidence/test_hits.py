"""Hits of families against a sum over everything all their animals may carry."""

from fractions import Fraction
from math import comb

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from genetics.evidence import hits as module
from genetics.evidence.hit_laws import family_hits
from genetics.evidence.hits import pool_hits, row_hits
from genetics.evidence.tail import HitLaw
from genetics.model.belief import Phase, belief_of
from genetics.model.linkage import Linkage
from genetics.model.locus import Allele, Locus, Mode, SexLinkage
from genetics.model.species import Sex, SexSystem, Species
from genetics.pool.cells import CellCount
from genetics.pool.pool import ClutchCounts, PoolRow
from genetics.pool.target import locus_factors, target_of
from tests.factories.pairings import small_species, stated, statements
from tests.oracles.family import Brood, total_hits_law

ONE, HALF, QUARTER = Fraction(1), Fraction(1, 2), Fraction(1, 4)


def moor(system=SexSystem.ZW):
    return Species(
        "moor", "moor gecko", system,
        (
            Locus("ash", (Allele("Ash", Mode.RECESSIVE),)),
            Locus("bay", (Allele("Bay", Mode.INCOMPLETE_DOMINANT),)),
            Locus(
                "elm", (Allele("Elm", Mode.RECESSIVE),),
                sex_linkage=SexLinkage(Fraction(0), heterogametic_copy=False),
            ),
        ),
        (Linkage(("ash", "bay"), Fraction(1, 10)),),
    )  # fmt: skip


MOOR = moor()


def target(species, *looks):
    return target_of(
        species,
        [
            factor
            for locus in species.loci
            for factor in locus_factors(locus)
            if factor.text in looks
        ],
    )


def row(species, sires, dams, *clutches):
    """A family; each clutch is (place of sire, place of dam, cells)."""
    return PoolRow(
        sires=tuple(_statement(species, one, Sex.MALE) for one in sires),
        dams=tuple(_statement(species, one, Sex.FEMALE) for one in dams),
        clutches=tuple(ClutchCounts(*one) for one in clutches),
    )


def _statement(species, said, sex):
    text, phases = said if isinstance(said, tuple) else (said, ())
    return stated(species, text, sex, phases=phases)


def convolved(found):
    """Law of all hits of a row from its parts."""
    law = [ONE]
    parts = [one.chances for one in found.laws]
    for chance, n in found.hatchlings_by_chance:
        parts.append([comb(n, k) * chance**k * (1 - chance) ** (n - k) for k in range(n + 1)])
    for part in parts:
        summed = [Fraction(0)] * (len(law) + len(part) - 1)
        for k, one in enumerate(law):
            for j, other in enumerate(part):
                summed[k + j] += one * other
        law = summed
    return law


def brute_force(species, asked, one_row):
    beliefs = [
        [belief_of(species, one) for one in animals] for animals in (one_row.sires, one_row.dams)
    ]
    broods = [
        Brood(pair.sire, pair.dam, tuple(c.sex for c in pair.cells for _ in range(c.count)))
        for pair in one_row.clutches
    ]
    return total_hits_law(species, *beliefs, broods, asked.wanted)


def mean(law):
    return sum((k * chance for k, chance in enumerate(law)), start=Fraction(0))


# --- against brute force ----------------------------------------------------------------------


@st.composite
def families(draw):
    """A small species, a target, and up to two sires and two dams in up to three clutches."""
    species = draw(small_species(most_loci=2))
    sires = tuple(draw(statements(species, Sex.MALE)) for _ in range(draw(st.integers(1, 2))))
    dams = tuple(draw(statements(species, Sex.FEMALE)) for _ in range(draw(st.integers(1, 2))))
    loci = draw(st.lists(st.sampled_from(species.loci), min_size=1, max_size=2, unique=True))
    factors = [draw(st.sampled_from(locus_factors(locus))) for locus in loci]
    while sum(one.n_factors for one in factors) > 3:
        factors.pop()
    asked = target_of(species, factors)
    sexed = any(species.group_of[key].is_sex_group for key in asked.loci)
    places = [(sire, dam) for sire in range(len(sires)) for dam in range(len(dams))]
    chosen = draw(st.lists(st.sampled_from(places), min_size=1, max_size=3))
    hit = asked.n_cells - 1
    cells = st.sampled_from([(0,), (hit,), (0, hit)])
    sexes = st.sampled_from([None, *Sex]) if sexed else st.none()
    clutches = tuple(
        ClutchCounts(
            sire,
            dam,
            tuple(
                CellCount(draw(sexes), draw(cells), draw(st.integers(1, 2)))
                for _ in range(draw(st.integers(1, 2)))
            ),
        )
        for sire, dam in chosen
    )
    return species, asked, PoolRow(sires, dams, clutches)


@settings(max_examples=120, deadline=None)
@given(family=families())
def test_row_hits__agree_with_everything_all_animals_may_carry(family):
    species, asked, one_row = family
    found = row_hits(species, asked, one_row)
    law = brute_force(species, asked, one_row)
    assert convolved(found) == law
    assert found.expected == mean(law)
    assert not found.cut
    assert all(0 < chance < 1 for chance, _n in found.hatchlings_by_chance)
    assert found.n_hatchlings == len(law) - 1

    hit = asked.n_cells - 1
    counts = [cell for pair in one_row.clutches for cell in pair.cells]
    assert found.n_certain == sum(cell.count for cell in counts if cell.cells == (hit,))
    assert found.n_possible == sum(cell.count for cell in counts if hit in cell.cells)


@settings(max_examples=60, deadline=None)
@given(family=families())
def test_pool_hits__are_the_tail_of_the_same_law(family):
    species, asked, one_row = family
    found = pool_hits([(species, asked, {one_row: 1})])
    law = brute_force(species, asked, one_row)
    assert found.tail.probability == pytest.approx(
        float(sum(law[: found.n_hits_possible + 1])), rel=1e-12, abs=1e-300
    )
    assert found.tail.chance_of_none == pytest.approx(float(law[0]), rel=1e-12, abs=1e-300)
    assert found.expected == found.tail.expected == mean(law)


@pytest.mark.parametrize("clutches", [
    [(0, 0), (0, 1), (1, 1), (1, 2)],
    [(0, 0), (0, 1), (0, 2), (1, 0)],
    [(0, 0), (0, 1), (1, 1), (1, 0), (1, 2)],
])  # fmt: skip
def test_row_hits__of_chains_trees_and_rings(clutches):
    """Five animals, each with doubts, in a chain, a tree and a ring with a tail."""
    species, asked = MOOR, target(MOOR, "Ash", "Bay")
    cells = (CellCount(None, (0,), 1), CellCount(None, (3,), 1))
    one_row = row(
        species,
        ["Ash? 2/3, Bay", "Ash? 1/4"],
        ["Ash? 1/2, Bay", "2 Ash, Bay? 1/2", "Ash, Bay? 1/3"],
        *((sire, dam, cells) for sire, dam in clutches),
    )  # fmt: skip
    found = row_hits(species, asked, one_row)
    assert not found.cut
    assert convolved(found) == brute_force(species, asked, one_row)


def test_row_hits__of_a_long_chain_cost_by_the_pair_not_by_the_states_of_all():
    asked = target(MOOR, "Ash", "Bay")

    def cost(n):
        cells = (CellCount(None, (0,), 1),)
        places = [(k // 2, (k + 1) // 2, cells) for k in range(2 * n)]
        both = ["Ash? 2/3, Bay? 1/2"] * (n + 1)
        return family_hits(MOOR, asked, row(MOOR, both, both, *places), module.MOST_PRODUCTS)

    assert all(step.n_states <= 9**2 for step in cost(10).steps)
    # Each animal more lengthens the law a little; it does not multiply the work.
    assert cost(20).n_products < 10 * cost(10).n_products


def test_row_hits__of_two_sires_and_two_dams_that_share_doubts():
    """Possible hets and unknown phases on both sides, in all four pairs."""
    species, asked = MOOR, target(MOOR, "Ash", "Bay")
    cells = (CellCount(None, (0,), 2), CellCount(None, (3,), 1))
    one_row = row(
        species,
        ["Ash? 2/3, Bay", "Ash, Bay"],
        ["Ash, Bay", "2 Ash, Bay? 1/2"],
        (0, 0, cells), (0, 1, cells), (1, 0, cells), (1, 1, cells),
    )  # fmt: skip
    found = row_hits(species, asked, one_row)
    law = brute_force(species, asked, one_row)
    assert convolved(found) == law
    assert len(law) == 13
    assert found.hatchlings_by_chance == ()
    # The pairs share their animals: the law is not that of independent pairs.
    apart = [row_hits(species, asked, PoolRow(one_row.sires, one_row.dams, (pair,)))
             for pair in one_row.clutches]  # fmt: skip
    together = [ONE]
    for part in apart:
        together = [
            sum(
                (together[j] * convolved(part)[k - j]
                 for j in range(len(together)) if 0 <= k - j < len(convolved(part))),
                start=Fraction(0),
            )
            for k in range(len(together) + 3)
        ]  # fmt: skip
    assert mean(together) == mean(law)
    assert together[0] < law[0]


# --- by hand ----------------------------------------------------------------------------------


def test_row_hits__of_certain_parents_are_grouped_by_chance():
    cells = (CellCount(None, (0,), 3), CellCount(None, (1,), 1))
    one_row = row(
        MOOR, ["Ash"], ["Ash", "2 Ash", "Ash"], (0, 0, cells), (0, 1, cells), (0, 2, cells)
    )
    found = row_hits(MOOR, target(MOOR, "Ash"), one_row)
    assert found.hatchlings_by_chance == ((QUARTER, 8), (HALF, 4))
    assert (found.laws, found.expected, found.cut) == ((), 4, False)
    assert (found.n_certain, found.n_possible, found.n_hatchlings) == (3, 3, 12)


def test_row_hits__of_a_possible_het_are_a_mixture():
    one_row = row(MOOR, ["2 Ash"], ["Ash? 2/3"], (0, 0, (CellCount(None, (0,), 3),)))
    found = row_hits(MOOR, target(MOOR, "Ash"), one_row)
    third = Fraction(1, 3)
    assert found.laws == (
        HitLaw((third + 2 * third / 8, third * 2 * 3 / 8, third * 2 * 3 / 8, third * 2 / 8)),
    )
    assert found.expected == 1


def test_row_hits__of_a_sex_that_always_or_never_shows():
    """Strictly Z-linked recessive: visual sire, wild dam: all daughters show, no son does."""
    cells = (
        CellCount(Sex.FEMALE, (1,), 2),
        CellCount(Sex.MALE, (0,), 3),
        CellCount(None, (0, 1), 1),
    )
    found = row_hits(MOOR, target(MOOR, "Elm"), row(MOOR, ["2 Elm"], [""], (0, 0, cells)))
    assert found.hatchlings_by_chance == ((HALF, 1),)
    assert set(found.laws) == {HitLaw((0 * ONE, 0 * ONE, ONE)), HitLaw((ONE, *[0 * ONE] * 3))}
    assert found.expected == Fraction(5, 2)
    assert (found.n_certain, found.n_possible) == (2, 3)
    pool = pool_hits([(MOOR, target(MOOR, "Elm"), {row(MOOR, ["2 Elm"], [""], (0, 0, cells)): 1})])
    assert pool.tail.probability == 1
    assert pool.tail.chance_of_none == 0


def test_row_hits__beyond_the_limit_take_each_pair_by_itself(monkeypatch):
    cells = (CellCount(None, (0,), 2),)
    one_row = row(
        MOOR,
        ["Ash, Bay", "Ash? 2/3"],
        ["Ash, Bay", "Ash? 1/2"],
        (0, 0, cells), (0, 1, cells), (1, 0, cells),
    )  # fmt: skip
    asked = target(MOOR, "Ash")
    cost = family_hits(MOOR, asked, one_row, module.MOST_PRODUCTS).n_products
    monkeypatch.setattr(module, "MOST_PRODUCTS", cost)
    whole = row_hits(MOOR, asked, one_row)
    monkeypatch.setattr(module, "MOST_PRODUCTS", cost - 1)
    cut = row_hits(MOOR, asked, one_row)

    assert (whole.cut, cut.cut) == (False, True)
    assert len(whole.laws) == 1
    by_pair = [
        HitLaw(tuple(brute_force(MOOR, asked, PoolRow(one_row.sires, one_row.dams, (pair,)))))
        for pair in one_row.clutches
    ]
    # Of the first pair no doubt matters to Ash.
    assert by_pair[0] == HitLaw((Fraction(9, 16), Fraction(6, 16), Fraction(1, 16)))
    assert cut.hatchlings_by_chance == ((QUARTER, 2),)
    assert list(cut.laws) == by_pair[1:]
    assert cut.expected == whole.expected
    pool = pool_hits([(MOOR, asked, {one_row: 3})])
    assert pool.n_cut == 3
    # A pair that is too much by itself has no part in the tail, and all counts are as they were.
    monkeypatch.setattr(module, "LARGE_PRODUCTS", 1)
    left = row_hits(MOOR, asked, one_row)
    assert (left.cut, left.laws, left.n_left_out) == (True, (), left.n_possible)
    assert (left.expected, left.n_hatchlings) == (whole.expected, whole.n_hatchlings)
    # The certain pair stays: six hatchlings of three families, none of them a hit.
    tail = pool_hits([(MOOR, asked, {one_row: 3})]).tail
    assert tail.probability == pytest.approx(0.75**6, rel=1e-12)


def test_pool_hits__take_the_costliest_families_apart_until_the_others_are_affordable(monkeypatch):
    cells = (CellCount(None, (0,), 2),)
    rows = [
        row(MOOR, ["Ash? 2/3"], ["Ash"] * n, *((0, place, cells) for place in range(n)))
        for n in (2, 3, 4)
    ]
    asked = target(MOOR, "Ash")
    costs = [family_hits(MOOR, asked, one, module.MOST_PRODUCTS).n_products for one in rows]
    pool = [(MOOR, asked, dict.fromkeys(rows, 1))]
    assert costs == sorted(set(costs))
    monkeypatch.setattr(module, "LARGE_PRODUCTS", costs[0])
    monkeypatch.setattr(module, "MOST_PRODUCTS_OF_LARGE", sum(costs[1:]))
    assert pool_hits(pool).n_cut == 0
    monkeypatch.setattr(module, "MOST_PRODUCTS_OF_LARGE", sum(costs[1:]) - 1)
    assert pool_hits(pool).n_cut == 1
    assert module.cut_hits(pool) == {(0, rows[2])}


def test_pool_hits__multiply_equal_families():
    cells = (CellCount(None, (0,), 3), CellCount(None, (0, 1), 1), CellCount(None, (1,), 1))
    sure_row = row(MOOR, ["Ash"], ["Ash"], (0, 0, cells))
    doubtful = row(MOOR, ["Ash"], ["Ash? 1/2"], (0, 0, cells))
    found = pool_hits([(MOOR, target(MOOR, "Ash"), {sure_row: 4, doubtful: 2})])
    assert (found.n_hits, found.n_hits_possible, found.n_hatchlings) == (6, 12, 30)
    assert found.expected == 4 * Fraction(5, 4) + 2 * Fraction(5, 8)
    law = brute_force(MOOR, target(MOOR, "Ash"), doubtful)
    none = float(Fraction(3, 4) ** 20 * law[0] ** 2)
    assert found.tail.chance_of_none == pytest.approx(none, rel=1e-12)
    assert found.tail.hits == 12


def test_pool_hits__join_catalogue_versions():
    """The same target in two versions that disagree on the linkage: each family by its own."""
    cells = (CellCount(None, (0,), 5),)
    pools, expected = [], Fraction(0)
    for r in (Fraction(1, 10), Fraction(1, 2)):
        species = Species(
            "moor", "moor gecko", SexSystem.NONE,
            tuple(Locus(k, (Allele(k.title(), Mode.RECESSIVE),)) for k in ("ash", "bay")),
            (Linkage(("ash", "bay"), r),),
        )  # fmt: skip
        said = ("Ash, Bay", (Phase(("Ash", "Bay"), coupling=False),))
        pools.append(
            (
                species,
                target(species, "Ash", "Bay"),
                {row(species, [said], [said], (0, 0, cells)): 2},
            )
        )
        expected += 10 * r**2 / 4
    found = pool_hits(pools)
    assert found.expected == expected
    none = (1 - Fraction(1, 400)) ** 10 * (1 - Fraction(1, 16)) ** 10
    assert found.tail.chance_of_none == pytest.approx(float(none), rel=1e-12)


def test_pool_hits__of_nothing_are_none():
    found = pool_hits([])
    assert (found.n_hits, found.n_hatchlings, found.expected, found.tail.probability) == (
        0,
        0,
        0,
        1,
    )
