"""Six explanations: sums by brute force, and each first where it is true."""

from fractions import Fraction
from math import exp, fsum

import pytest

from genetics.evidence.evalue import PSI_WEIGHTS, RATE_WEIGHTS
from genetics.evidence.explanations import (
    CALLED_NORMAL,
    FEW_MISLABELLED,
    MANY_MISLABELLED,
    PRIORS,
    SHARES_LEFT,
    SHARES_MISTAKEN,
    SHARES_UNSEEN,
    Explanation,
    explanations,
)
from genetics.evidence.repulsion import FRACTIONS, in_repulsion
from genetics.pool.pool import ClutchCounts
from tests.factories.pools import MARSH, counts, pair_row, row, target
from tests.oracles.latent_families import called, hatching, hatching_less, log_chance, pool_chances

PAIR = ("Clay", "Dune")


def pool(looks, *rows):
    return [(MARSH, target(MARSH, *looks), dict(rows))]


def pair_pool(cells, times=40, looks=PAIR, sire="Clay, Dune", dam=""):
    cells = {cell: n for cell, n in enumerate(cells) if n}
    return pool(looks, (pair_row(MARSH, sire, dam, cells), times))


def chance(pools, way, rates):
    """Marginal over the rate of missing genes."""
    families = pool_chances(pools, way)
    return fsum(weight * exp(log_chance(families, rate)) for rate, weight in rates.items())


def by_brute_force(pools):
    """Prior times the mean, over every way and rate, of the likelihood by full enumeration."""
    n_cells = pools[0][1].n_cells
    found = {
        Explanation.AS_CATALOGUED: chance(pools, hatching(1), FEW_MISLABELLED),
        Explanation.PARENT_NOT_CARRYING: chance(pools, hatching(1), MANY_MISLABELLED),
        Explanation.REDUCED_VIABILITY: fsum(
            weight * chance(pools, hatching(psi), RATE_WEIGHTS)
            for psi, weight in PSI_WEIGHTS.items()
        ),
    }
    instead = {cell: CALLED_NORMAL if cell == 0 else 1.0 for cell in range(n_cells - 1)}
    found[Explanation.LOOK_ALIKE] = fsum(
        weight
        / sum(instead.values())
        / len(SHARES_MISTAKEN)
        * chance(
            pools,
            called(lambda cell, n, other=other: other if cell == n - 1 else cell, share),
            RATE_WEIGHTS,
        )
        for other, weight in instead.items()
        for share in SHARES_MISTAKEN
    )
    if n_cells > 2:
        masks = [1 << bit for bit in range(n_cells.bit_length() - 1)]
        short = [
            called(lambda cell, _n, mask=mask: cell & ~mask, share)
            for mask in masks
            for share in SHARES_UNSEEN
        ] + [
            hatching_less(lambda cell, _n, mask=mask: bool(cell & mask), share)
            for mask in masks
            for share in SHARES_LEFT
        ]
        found[Explanation.GENE_SHORTAGE] = fsum(
            chance(pools, way, RATE_WEIGHTS) for way in short
        ) / len(short)
    linked = [in_repulsion(pools, fraction) for fraction in FRACTIONS]
    if linked[0] is not None:
        found[Explanation.LINKED_IN_REPULSION] = fsum(
            chance(one, hatching(1), RATE_WEIGHTS) for one in linked
        ) / len(linked)
    weighted = {name: PRIORS[name] * value for name, value in found.items()}
    return {name: value / fsum(weighted.values()) for name, value in weighted.items()}


FAMILY = row(
    MARSH, ["Clay, Dune", "Clay"], ["Dune? 1/2"],
    ClutchCounts(0, 0, counts({0: 1, 1: 2, 2: 2})),
    ClutchCounts(1, 0, counts({0: 2, (1, 3): 1})),
)  # fmt: skip


@pytest.mark.parametrize(
    "pools",
    [
        pair_pool((3, 2, 2, 0), times=1),
        pair_pool((1, 1, 1, 2), times=2),
        pair_pool((0, 3, 3, 0), times=1),
        pair_pool((2, 1, 3, 1), times=1, sire="Clay", dam="2 Dune"),
        pool(PAIR, (FAMILY, 2)),
        pair_pool((4, 1), times=2, looks=("Ash",), sire="2 Ash", dam="Ash? 2/3"),
        pair_pool((1, 1, 1, 0, 2, 1, 1, 0), times=1, looks=("Clay", "Dune", "Fen"), dam="Fen"),
        pair_pool((2, 3, 1, 0), times=1, looks=("Gorse", "Heath"), sire="Gorse, Heath"),
    ],
)
def test_explanations__are_sums_over_every_way_and_rate(pools):
    found = explanations(pools)
    expected = by_brute_force(pools)
    assert {one.name: one.probability for one in found} == {
        name: pytest.approx(value, rel=1e-9) for name, value in expected.items()
    }
    assert fsum(one.probability for one in found) == pytest.approx(1, abs=1e-12)
    order = [one.probability for one in found]
    assert order == sorted(order, reverse=True)


def test_priors__are_chances():
    assert set(PRIORS) == set(Explanation)
    for weights in (PRIORS, FEW_MISLABELLED, MANY_MISLABELLED):
        assert fsum(weights.values()) == pytest.approx(1, abs=1e-12)
        assert min(weights.values()) > 0
    assert max(FEW_MISLABELLED) < min(MANY_MISLABELLED)


# --- the true one comes first -----------------------------------------------------------------

NAMED = {"called_as": None, "gene": None, "recombination_fraction": None}


@pytest.mark.parametrize(
    ("cells", "name", "details"),
    [
        ((4, 4, 4, 4), Explanation.AS_CATALOGUED, {}),
        ((4, 4, 4, 0), Explanation.REDUCED_VIABILITY, {}),
        ((6, 6, 6, 2), Explanation.REDUCED_VIABILITY, {}),
        ((4, 8, 4, 0), Explanation.LOOK_ALIKE, {"called_as": "Clay"}),
        ((4, 4, 8, 0), Explanation.LOOK_ALIKE, {"called_as": "Dune"}),
        (
            (8, 4, 4, 0),
            Explanation.LOOK_ALIKE,
            {"called_as": "a hatchling with neither Clay nor Dune"},
        ),
        ((6, 2, 6, 2), Explanation.GENE_SHORTAGE, {"gene": "Clay"}),  # half of it called without
        ((6, 6, 3, 3), Explanation.GENE_SHORTAGE, {"gene": "Dune"}),  # half of it not hatched
        ((0, 8, 8, 0), Explanation.LINKED_IN_REPULSION, {"recombination_fraction": 0.0}),
        ((1, 9, 9, 1), Explanation.LINKED_IN_REPULSION, {"recombination_fraction": 0.1}),
        ((3, 7, 7, 3), Explanation.LINKED_IN_REPULSION, {"recombination_fraction": 0.3}),
    ],
)
def test_explanations__of_a_clean_pool_begin_with_the_true_one(cells, name, details):
    first, second, *_rest = explanations(pair_pool(cells))
    assert first.name is name
    assert first.probability > 0.9 > second.probability
    for detail, value in (NAMED | details).items():
        found = getattr(first, detail)
        assert found == (pytest.approx(value, abs=0.005) if isinstance(value, float) else value)


def test_explanations__of_families_of_which_many_lack_a_gene_begin_with_the_parents():
    def one(cells):
        return pair_row(MARSH, "Clay, Dune", "", cells)

    rows = [({0: 4, 1: 4, 2: 4, 3: 4}, 20), ({0: 8, 1: 8}, 10), ({0: 8, 2: 8}, 10), ({0: 16}, 5)]
    first, *_rest = explanations(pool(PAIR, *((one(cells), times) for cells, times in rows)))
    assert first.name is Explanation.PARENT_NOT_CARRYING
    assert first.probability > 0.9


def test_explanations__of_three_genes_name_the_cell_the_missing_ones_went_to():
    first, *_rest = explanations(
        pair_pool((2, 2, 2, 4, 2, 2, 2, 0), looks=("Clay", "Dune", "Fen"), dam="Fen")
    )
    assert (first.name, first.called_as) == (Explanation.LOOK_ALIKE, "Clay + Dune")


def test_explanations__of_a_compound_name_the_gene_it_is_taken_for():
    first, *_rest = explanations(
        pair_pool((4, 4, 8, 0), looks=("Reedmace",), sire="Reed", dam="Rush")
    )
    assert (first.name, first.called_as) == (Explanation.LOOK_ALIKE, "Rush")


# --- those that can not apply -----------------------------------------------------------------


@pytest.mark.parametrize(
    ("looks", "sire", "dam", "linkage", "shortage"),
    [
        (PAIR, "Clay, Dune", "", True, True),
        (PAIR, "", "Clay, Dune", True, True),
        (PAIR, "Clay", "Dune", False, True),
        (PAIR, "2 Clay, Dune", "", False, True),
        (("Gorse", "Heath"), "Gorse, Heath", "", False, True),
        (("Clay", "Dune", "Fen"), "Clay, Dune, Fen", "", False, True),
        (("Ash",), "Ash", "Ash", False, False),
        (("Clay", "Elm"), "Clay, Elm", "", False, True),
    ],
)
def test_explanations__leave_out_what_can_not_apply(looks, sire, dam, linkage, shortage):
    asked = target(MARSH, *looks)
    cells = (3,) * (asked.n_cells - 1) + (1,)
    names = {one.name for one in explanations(pair_pool(cells, looks=looks, sire=sire, dam=dam))}
    assert (Explanation.LINKED_IN_REPULSION in names) is linkage
    assert (Explanation.GENE_SHORTAGE in names) is shortage
    assert names >= set(Explanation) - {
        Explanation.LINKED_IN_REPULSION,
        Explanation.GENE_SHORTAGE,
    }


def test_explanations__of_nothing_seen_are_the_priors():
    found = explanations(pool(PAIR, (pair_row(MARSH, "Clay, Dune", "", {(0, 1, 2, 3): 5}), 1)))
    assert {one.name: one.probability for one in found} == pytest.approx(dict(PRIORS))


def test_explanations__of_what_no_parents_could_give_are_the_priors():
    found = explanations(pool(("Clay",), (pair_row(MARSH, "", "", {1: 2}), 1)))
    total = fsum(PRIORS[one.name] for one in found)
    assert {one.name: one.probability for one in found} == pytest.approx(
        {one.name: PRIORS[one.name] / total for one in found}
    )


# --- eggs -------------------------------------------------------------------------------------


def viability(*rows):
    found = {one.name: one.probability for one in explanations(pool(PAIR, *rows))}
    return found[Explanation.REDUCED_VIABILITY]


def test_explanations__weigh_what_the_eggs_say_into_viability():
    """Eggs lost where the combination is likelier: 1/4 of one pair's, 9/16 of the other's."""

    def rows(died, died_of_many):
        return [
            (pair_row(MARSH, "Clay, Dune", "", {0: 2, 1: 2, 2: 2}, n_died=died), 3),
            (
                pair_row(
                    MARSH, "Clay, Dune", "Clay, Dune", {0: 1, 1: 3, 2: 3}, n_died=died_of_many
                ),
                3,
            ),
        ]

    uncounted = viability(*rows(None, None))
    assert viability(*rows(0, 0)) < uncounted < viability(*rows(2, 9))
    assert viability(*rows(9, 2)) < uncounted


def test_explanations__give_the_recombination_fraction_of_a_published_like_cross():
    """2 % recombinants, 100 of 5,000: the estimate is the share of recombinants."""
    [linked] = [
        one
        for one in explanations(pair_pool((50, 2450, 2450, 50), times=1))
        if one.name is Explanation.LINKED_IN_REPULSION
    ]
    assert linked.recombination_fraction == pytest.approx(float(Fraction(1, 50)), abs=0.0015)
    assert linked.probability > 0.99
