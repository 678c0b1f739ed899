"""The same pool with two genes on one chromosome."""

from fractions import Fraction

import pytest

from genetics.evidence.repulsion import FRACTIONS, in_repulsion
from genetics.model.belief import Phase, belief_of
from genetics.model.linkage import Linkage
from genetics.model.species import Sex
from genetics.pool.pool import ClutchCounts
from tests.factories.pairings import stated
from tests.factories.pools import MARSH, counts, pair_row, row, target
from tests.oracles.latent_families import Carried, cells_of

TENTH = Fraction(1, 10)
REPULSION = (Phase(genes=("Clay", "Dune"), coupling=False),)


def pool(looks, *rows):
    return [(MARSH, target(MARSH, *looks), dict(rows))]


FAMILY = row(
    MARSH, ["Clay, Dune", "Clay, Ash"], ["Dune? 1/2", "2 Clay, Dune", "Dune, Clay"],
    ClutchCounts(0, 0, counts({0: 1, (1, 3): 2}), n_died=2, declared=True),
    ClutchCounts(0, 2, counts({2: 1})),
    ClutchCounts(1, 1, counts({1: 1, 3: 4})),
)  # fmt: skip


def test_in_repulsion__leaves_counts_and_everything_else_as_it_is():
    pools = pool(("Clay", "Dune"), (FAMILY, 3), (pair_row(MARSH, "Clay", "Dune", {0: 2}), 5))
    [(species, asked, rows)] = in_repulsion(pools, TENTH)
    assert asked == pools[0][1]
    assert (species.loci, species.sex_system, species.key) == (
        MARSH.loci, MARSH.sex_system, MARSH.key,
    )  # fmt: skip
    assert species.linkages == (*MARSH.linkages, Linkage(("clay", "dune"), TENTH))
    assert sum(rows.values()) == 8
    for (before, times), (after, times_after) in zip(
        pools[0][2].items(), rows.items(), strict=True
    ):
        assert times == times_after
        assert before.clutches == after.clutches
        for one, other in zip(
            (*before.sires, *before.dams), (*after.sires, *after.dams), strict=True
        ):
            assert (one.genes, one.sex, one.unproven) == (other.genes, other.sex, other.unproven)


def test_in_repulsion__gives_a_phase_to_those_alone_that_have_one_copy_of_both():
    [(_species, _asked, rows)] = in_repulsion(pool(("Clay", "Dune"), (FAMILY, 1)), TENTH)
    [after] = rows
    assert [one.phases for one in after.sires] == [REPULSION, ()]
    assert [one.phases for one in after.dams] == [(), (), REPULSION]


def test_in_repulsion__makes_the_combination_rare():
    """Of a parent with both in repulsion: r / 2 have both, r / 2 none, by enumeration."""
    pools = pool(("Clay", "Dune"), (pair_row(MARSH, "Clay, Dune", "", {0: 1}), 1))
    for fraction in FRACTIONS:
        [(species, asked, rows)] = in_repulsion(pools, fraction)
        [one] = rows

        def carried(statement, species=species):
            [states] = [
                tuple(belief.states(species, group)[0][0] for group in species.groups)
                for belief in [belief_of(species, statement)]
            ]
            return Carried(0, Fraction(1), states)

        chances = cells_of(species, asked, carried(one.sires[0]), carried(one.dams[0]), None)
        rare, common = fraction / 2, (1 - fraction) / 2
        assert chances == [rare, common, common, rare]


def test_in_repulsion__adds_rows_that_become_the_same():
    plain = stated(MARSH, "Clay, Dune", Sex.MALE)
    phased = stated(MARSH, "Clay, Dune", Sex.MALE, phases=REPULSION)
    rows = [(pair_row(MARSH, one, "", {0: 2}), 2) for one in (plain, phased)]
    [(_species, _asked, after)] = in_repulsion(pool(("Clay", "Dune"), *rows), TENTH)
    assert list(after.values()) == [4]


@pytest.mark.parametrize(
    ("looks", "sire", "dam"),
    [
        (("Clay",), "Clay", ""),  # one gene
        (("Clay", "Dune", "Fen"), "Clay, Dune, Fen", ""),  # three
        (("Reedmace",), "Reed", "Rush"),  # one locus
        (("Gorse", "Heath"), "Gorse, Heath", ""),  # linked as it is
        (("Clay", "Gorse"), "Clay, Gorse", ""),  # one of them is linked with a third
        (("Clay", "Elm"), "Clay, Elm", ""),  # one on Z
        (("Clay", "Dune"), "Clay", "Dune"),  # no parent with both
        (("Clay", "Dune"), "Clay? 1/2, Dune", "Dune? 1/2"),  # none for certain
        (("Clay", "Dune"), "2 Clay, Dune", "2 Dune"),  # two copies have no phase
    ],
)
def test_in_repulsion__is_none_where_it_can_not_apply(looks, sire, dam):
    assert in_repulsion(pool(looks, (pair_row(MARSH, sire, dam, {0: 1}), 1)), TENTH) is None


def test_in_repulsion__applies_if_it_does_in_one_family_of_any_version():
    rows = {pair_row(MARSH, "Clay", "Dune", {0: 2}): 5}
    more = {pair_row(MARSH, "", "Clay, Dune", {0: 2}): 1}
    asked = target(MARSH, "Clay", "Dune")
    found = in_repulsion([(MARSH, asked, rows), (MARSH, asked, more)], TENTH)
    assert [list(after.values()) for _species, _asked, after in found] == [[5], [1]]
    assert in_repulsion([(MARSH, asked, rows), (MARSH, asked, rows)], TENTH) is None


@pytest.mark.parametrize(("dune_from", "phases"), [("dam", REPULSION), ("sire", ())])
def test_in_repulsion__leaves_a_known_origin_alone(dune_from, phases):
    """Both genes from one grandparent sit on one chromosome: that is coupling."""
    origins = (("Clay", "sire"), ("Dune", dune_from))
    sire = stated(MARSH, "Clay, Dune", Sex.MALE, inherited_from=origins)
    rows = [(pair_row(MARSH, one, "", {0: 2}), 1) for one in (sire, "Clay, Dune")]
    [(species, _asked, after)] = in_repulsion(pool(("Clay", "Dune"), *rows), TENTH)
    [first, _other] = after
    assert first.sires[0].phases == phases
    [pair] = [
        states[0][0]
        for group, states in belief_of(species, first.sires[0]).groups
        if set(group.loci) == {"clay", "dune"}
    ]
    together = ("Clay", "Dune") in pair
    assert together is (dune_from == "sire")
