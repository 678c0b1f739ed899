"""What parents may really carry, and the cells of their hatchlings, against full enumeration."""

from collections import defaultdict
from fractions import Fraction
from math import comb

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from genetics.evidence.latent import animal_states, cell_chances, cell_tables, target_groups
from genetics.model.belief import Phase
from genetics.model.species import Sex
from tests.factories.pairings import small_species, stated, statements
from tests.factories.pools import MARSH, target, targets
from tests.oracles.latent_families import Carried, cells_of, every_carried, stated_for_certain


@st.composite
def parents_and_target(draw):
    species = draw(small_species(most_loci=2))
    asked = draw(targets(species))
    return (
        species,
        asked,
        draw(statements(species, Sex.MALE)),
        draw(statements(species, Sex.FEMALE)),
    )


def by_content(species, asked, carried):
    """Weights of the oracle's states, those that differ away from the target taken together."""
    places = [
        place for place, group in enumerate(species.groups) if set(group.loci) & set(asked.loci)
    ]
    found = defaultdict(Fraction)
    for one in carried:
        found[one.n_missing, tuple(one.haplotypes[place] for place in places)] += one.weight
    return found


@settings(max_examples=150, deadline=None)
@given(drawn=parents_and_target())
def test_animal_states__are_all_that_an_animal_may_carry(drawn):
    species, asked, *both = drawn
    for statement in both:
        found = animal_states(species, asked, statement)
        assert found.n_doubtful == len(stated_for_certain(asked, statement))
        expected = by_content(species, asked, every_carried(species, asked, statement))
        assert {(one.n_missing, one.haplotypes): one.weight for one in found.states} == {
            key: pytest.approx(float(weight), rel=1e-14) for key, weight in expected.items()
        }


@settings(max_examples=100, deadline=None)
@given(drawn=parents_and_target())
def test_animal_states__of_each_number_of_missing_genes_weigh_as_many_as_there_are_such_sets(drawn):
    species, asked, statement, _dam = drawn
    found = animal_states(species, asked, statement)
    weights = defaultdict(float)
    for one in found.states:
        weights[one.n_missing] += one.weight
    assert weights == {
        n: pytest.approx(comb(found.n_doubtful, n), rel=1e-12) for n in range(found.n_doubtful + 1)
    }


def test_animal_states__by_hand():
    asked = target(MARSH, "Ash", "Clay")
    found = animal_states(MARSH, asked, stated(MARSH, "2 Ash, Clay? 2/3", Sex.MALE))
    ash, no_ash, clay, no_clay = (
        (("Ash",), ("Ash",)),
        (("+",), ("+",)),
        (("+",), ("Clay",)),
        (("+",), ("+",)),
    )
    assert found.n_doubtful == 1
    # Ash is missing in both copies or not at all: the label is wrong. Clay has its stated chance.
    assert {(one.n_missing, one.haplotypes): one.weight for one in found.states} == {
        (0, (ash, clay)): pytest.approx(2 / 3),
        (0, (ash, no_clay)): pytest.approx(1 / 3),
        (1, (no_ash, clay)): pytest.approx(2 / 3),
        (1, (no_ash, no_clay)): pytest.approx(1 / 3),
    }


def test_animal_states__keep_two_alleles_of_a_series_apart():
    found = animal_states(MARSH, target(MARSH, "Reedmace"), stated(MARSH, "Reed, Rush", Sex.MALE))
    assert found.n_doubtful == 2
    assert sorted((one.n_missing, one.haplotypes[0]) for one in found.states) == [
        (0, (("Reed",), ("Rush",))),
        (1, (("+",), ("Reed",))),
        (1, (("+",), ("Rush",))),
        (2, (("+",), ("+",))),
    ]


def test_animal_states__drop_what_is_said_of_a_gene_that_is_missing():
    said = stated(
        MARSH, "Gorse, Heath", Sex.MALE,
        phases=(Phase(("Gorse", "Heath"), coupling=True),),
        unproven=("Heath",), inherited_from=(("Gorse", "sire"),),
    )  # fmt: skip
    found = animal_states(MARSH, target(MARSH, "Gorse", "Heath"), said)
    assert {(one.n_missing, one.haplotypes[0]) for one in found.states} == {
        (0, (("+", "+"), ("Gorse", "Heath"))),
        (1, (("+", "+"), ("Gorse", "+"))),
        (1, (("+", "+"), ("+", "Heath"))),
        (2, (("+", "+"), ("+", "+"))),
    }


def test_animal_states__take_genes_of_other_loci_as_stated():
    asked = target(MARSH, "Clay")
    found = animal_states(MARSH, asked, stated(MARSH, "Clay, Dune", Sex.MALE))
    assert found.n_doubtful == 1
    assert target_groups(MARSH, asked) == (MARSH.group_of["clay"],)
    assert {len(one.haplotypes) for one in found.states} == {1}


@settings(max_examples=100, deadline=None)
@given(drawn=parents_and_target(), data=st.data())
def test_cell_chances__count_hatchlings(drawn, data):
    species, asked, sire, dam = drawn
    sires = animal_states(species, asked, sire).states
    dams = animal_states(species, asked, dam).states
    one, other = data.draw(st.sampled_from(sires)), data.draw(st.sampled_from(dams))
    sexed = any(group.is_sex_group for group in target_groups(species, asked))
    sex = data.draw(st.sampled_from([None, *Sex])) if sexed else None
    places = {group: place for place, group in enumerate(target_groups(species, asked))}

    def whole(statement, state):
        """The oracle lists all groups of the species; those of the target as in this state."""
        [first, *_rest] = every_carried(species, asked, statement)
        return Carried(
            0,
            Fraction(1),
            tuple(
                state.haplotypes[places[group]] if group in places else pair
                for group, pair in zip(species.groups, first.haplotypes, strict=True)
            ),
        )

    expected = cells_of(species, asked, whole(sire, one), whole(dam, other), sex)
    found = cell_chances(species, asked, one.haplotypes, other.haplotypes, sex)
    table = cell_tables(species, asked, [one.haplotypes], [other.haplotypes], sex)
    assert table[0, 0].tolist() == list(found)
    assert found == pytest.approx([float(chance) for chance in expected], rel=1e-12, abs=1e-15)
    assert sum(found) == pytest.approx(1, rel=1e-12)


def test_cell_chances__of_daughters_and_sons_by_hand():
    """ZW, Elm recessive on Z: a carrier sire gives it to half his daughters, which show it."""
    asked = target(MARSH, "Elm")
    [sire] = [
        one
        for one in animal_states(MARSH, asked, stated(MARSH, "Elm", Sex.MALE)).states
        if not one.n_missing
    ]
    [dam] = animal_states(MARSH, asked, stated(MARSH, "", Sex.FEMALE)).states
    pair = (sire.haplotypes, dam.haplotypes)
    assert cell_chances(MARSH, asked, *pair, Sex.FEMALE) == (0.5, 0.5)
    assert cell_chances(MARSH, asked, *pair, Sex.MALE) == (1, 0)
    assert cell_chances(MARSH, asked, *pair) == (0.75, 0.25)
