"""Beliefs against every way to lay alleles on two chromosomes, and every refusal."""

from fractions import Fraction

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from genetics.errors import (
    ContradictoryStatementError,
    PossibleHetNeedsNumberError,
    TooManyAllelesError,
)
from genetics.model.belief import ParentStatement, Phase, belief_of
from genetics.model.linkage import Linkage
from genetics.model.locus import Allele, Locus, Mode, SexLinkage
from genetics.model.species import Sex, SexSystem, Species
from genetics.model.statement import StatedLocus, stated_genes
from tests.factories.pairings import parents, small_species, stated, statements
from tests.oracles.parents import every_haplotype_pair

ONE, HALF, QUARTER = Fraction(1), Fraction(1, 2), Fraction(1, 4)
RECESSIVE, VISIBLE = Mode.RECESSIVE, Mode.INCOMPLETE_DOMINANT


def species(system=SexSystem.ZW):
    """Three linked genes, one near the sex-determining region, two of one series on Z or X."""
    return Species(
        "moor",
        "moor gecko",
        system,
        (
            Locus("ash", (Allele("Ash", RECESSIVE), Allele("Ash Mist", VISIBLE))),
            Locus("bay", (Allele("Bay", VISIBLE),)),
            Locus("cliff", (Allele("Cliff", RECESSIVE),)),
            Locus("dune", (Allele("Dune", VISIBLE),), sex_linkage=SexLinkage(Fraction(3, 50))),
            Locus(
                "elm",
                (Allele("Elm", RECESSIVE), Allele("Elm Mist", VISIBLE)),
                sex_linkage=SexLinkage(Fraction(0), heterogametic_copy=False),
            ),
            Locus("far", (Allele("Far", RECESSIVE),)),
        ),
        (Linkage(("ash", "bay"), Fraction(1, 10)), Linkage(("bay", "cliff"), Fraction(1, 5))),
    )


MOOR = species()


def states(text, sex=Sex.MALE, key="ash", at=MOOR, unproven_chance=None, **said):
    belief = belief_of(at, stated(at, text, sex, **said), unproven_chance=unproven_chance)
    return dict(belief.states(at, at.group_of[key]))


COUPLED, REPELLED = Phase(("Ash", "Bay"), coupling=True), Phase(("Ash", "Bay"), coupling=False)
MIST_COUPLED = Phase(("Ash Mist", "Bay"), coupling=True)
CLIFF_COUPLED = Phase(("Bay", "Cliff"), coupling=True)
OUTER_REPELLED = Phase(("Ash", "Cliff"), coupling=False)


# --- against every arrangement ----------------------------------------------------------------


@settings(max_examples=300, deadline=None)
@given(data=st.data())
def test_belief_of__agrees_with_every_arrangement(data):
    small = data.draw(small_species())
    parent = data.draw(statements(small, data.draw(st.sampled_from(Sex)), origins=True))
    expected = {group: every_haplotype_pair(small, group, parent) for group in small.groups}
    try:
        found = belief_of(small, parent)
    except ContradictoryStatementError:
        assert not all(expected.values())
        return
    for group in small.groups:
        assert dict(found.states(small, group)) == expected[group]


@settings(max_examples=100, deadline=None)
@given(drawn=parents())
def test_belief_of__has_weights_that_sum_to_one(drawn):
    small, *statements_ = drawn
    for parent in statements_:
        belief = belief_of(small, parent)
        for group in small.groups:
            weights = [chance for _pair, chance in belief.states(small, group)]
            assert sum(weights) == 1
            assert min(weights) > 0


def test_belief_of__does_not_ask_for_a_group_that_is_wild():
    belief = belief_of(MOOR, stated(MOOR, "Far", Sex.FEMALE))
    assert [group.loci for group, _states in belief.groups] == [("far",)]
    assert states("Far", Sex.FEMALE, key="dune") == {(("W", "-", "+"), ("Z", "+", "+")): ONE}


# --- phase and origin -------------------------------------------------------------------------

COUPLING = ((("+", "+", "+"), ("Ash", "Bay", "+")), ONE)
REPULSION = ((("+", "Bay", "+"), ("Ash", "+", "+")), ONE)


def test_belief_of__an_unknown_phase_is_half_and_half():
    assert states("Ash, Bay") == {COUPLING[0]: HALF, REPULSION[0]: HALF}
    three = states("Ash, Bay, Cliff")
    assert len(three) == 4
    assert set(three.values()) == {QUARTER}


@pytest.mark.parametrize(("coupling", "only"), [(True, COUPLING), (False, REPULSION)])
def test_belief_of__a_stated_phase_is_certain(coupling, only):
    assert states("Ash, Bay", phases=(Phase(("Ash", "Bay"), coupling),)) == dict([only])


def test_belief_of__a_phase_counts_only_if_both_genes_are_there():
    found = states("Ash, Bay? 1/2", phases=(COUPLED,))
    assert found == {COUPLING[0]: HALF, (("+", "+", "+"), ("Ash", "+", "+")): HALF}


@pytest.mark.parametrize(
    ("origins", "only"),
    [(("sire", "sire"), COUPLING), (("dam", "dam"), COUPLING), (("sire", "dam"), REPULSION)],
)
def test_belief_of__origins_give_the_phase(origins, only):
    said = tuple(zip(("Ash", "Bay"), origins, strict=True))
    assert states("Ash, Bay", inherited_from=said) == dict([only])


@pytest.mark.parametrize(
    ("system", "sex", "origin", "letter"),
    [
        (SexSystem.ZW, Sex.FEMALE, "sire", "Z"),
        (SexSystem.ZW, Sex.FEMALE, "dam", "W"),
        (SexSystem.XY, Sex.MALE, "sire", "Y"),
        (SexSystem.XY, Sex.MALE, "dam", "X"),
    ],
)
def test_belief_of__an_origin_gives_the_sex_chromosome(system, sex, origin, letter):
    at = species(system)
    [pair] = states("Dune", sex, key="dune", at=at, inherited_from=(("Dune", origin),))
    [holder] = [haplotype for haplotype in pair if "Dune" in haplotype]
    assert holder[0] == letter
    assert states("Dune", sex, key="dune", at=at, on_chromosome=(("Dune", letter),)) == {pair: ONE}


def test_belief_of__a_single_copy_of_a_recessive_is_a_visual():
    single = {(("W", "-", "+"), ("Z", "Elm", "+")): ONE}
    assert states("2 Elm", Sex.FEMALE, key="elm") == single
    assert states("Elm Mist", Sex.FEMALE, key="elm") == {
        (("W", "-", "+"), ("Z", "Elm Mist", "+")): ONE
    }


# --- possible hets and unproven genes ---------------------------------------------------------


def test_belief_of__possible_hets_are_there_with_their_chance():
    here, away = ("+",), ("Far",)
    assert states("Far? 2/3", key="far") == {
        (here, here): Fraction(1, 3),
        (here, away): Fraction(2, 3),
    }
    found = states("Ash? 2/3, Ash Mist? 1/2")
    assert found[("Ash", "+", "+"), ("Ash Mist", "+", "+")] == Fraction(1, 3)
    assert len(found) == 4


def test_belief_of__unproven_genes_are_taken_as_stated_or_at_their_chance():
    wild, het, visual = (("+",), ("+",)), (("+",), ("Far",)), (("Far",), ("Far",))
    ninth = Fraction(9, 10)
    said = {"unproven": ("Far",)}
    assert states("Far", key="far", **said) == {het: ONE}
    assert states("Far", key="far", unproven_chance=ninth, **said) == {het: ninth, wild: 1 - ninth}
    assert states("2 Far", key="far", unproven_chance=ninth, **said) == {
        visual: ninth,
        wild: 1 - ninth,
    }
    assert states("Far", key="far", unproven_chance=ninth) == {het: ONE}


@pytest.mark.parametrize(("chance", "only"), [(0, (("+",), ("+",))), (1, (("+",), ("Far",)))])
def test_belief_of__holds_no_state_of_no_weight(chance, only):
    found = states("Far", key="far", unproven_chance=Fraction(chance), unproven=("Far",))
    assert found == {only: ONE}


# --- the part of a statement that a target needs ----------------------------------------------


def restricted(parent, *loci):
    return parent.restricted_to(MOOR, loci)


def test_restricted_to__leaves_out_what_is_said_elsewhere():
    parent = stated(
        MOOR,
        "Ash, Bay, Dune, Far? 1/2",
        Sex.FEMALE,
        unproven=("Ash", "Dune"),
        phases=(COUPLED,),
        on_chromosome=(("Dune", "W"),),
        inherited_from=(("Ash", "sire"), ("Bay", "sire")),
    )
    assert restricted(parent, "far") == stated(MOOR, "Far? 1/2", Sex.FEMALE)
    assert restricted(parent, "dune") == stated(
        MOOR, "Dune", Sex.FEMALE, unproven=("Dune",), on_chromosome=(("Dune", "W"),)
    )
    assert restricted(parent, "ash", "bay", "dune", "far", "elm") == parent
    coupled = stated(MOOR, "Ash, Bay, Cliff", Sex.FEMALE, phases=(COUPLED, CLIFF_COUPLED))
    assert restricted(coupled, "ash") == stated(MOOR, "Ash", Sex.FEMALE)
    assert restricted(coupled, "ash", "bay") == stated(
        MOOR, "Ash, Bay", Sex.FEMALE, phases=(COUPLED,)
    )


def law_of(parent, *keys):
    """Chances of the alleles at some loci of one group, other loci summed over."""
    group = MOOR.group_of[keys[0]]
    shift = 1 if group.is_sex_group else 0
    places = [*range(shift), *(group.loci.index(key) + shift for key in keys)]
    law = {}
    for pair, chance in belief_of(MOOR, parent).states(MOOR, group):
        one, other = sorted(tuple(haplotype[place] for place in places) for haplotype in pair)
        law[one, other] = law.get((one, other), 0) + chance
    return law


@pytest.mark.parametrize(
    ("text", "said", "keys"),
    [
        (
            "Ash, Bay, Cliff",
            {"phases": (COUPLED, Phase(("Bay", "Cliff"), coupling=False))},
            ("ash", "cliff"),
        ),
        (
            "Ash, Bay, Cliff",
            {"phases": (COUPLED,), "inherited_from": (("Bay", "sire"), ("Cliff", "dam"))},
            ("ash", "cliff"),
        ),
    ],
)  # fmt: skip
def test_restricted_to__keeps_what_follows_by_way_of_another_gene(text, said, keys):
    parent = stated(MOOR, text, Sex.FEMALE, **said)
    assert len(law_of(parent, *keys)) == 1
    assert law_of(restricted(parent, *keys), *keys) == law_of(parent, *keys)


def test_restricted_to__keeps_the_chromosome_told_by_a_linked_gene():
    at = Species(
        "moor", "moor gecko", SexSystem.ZW,
        tuple(
            Locus(key, (Allele(gene, VISIBLE),), sex_linkage=SexLinkage(Fraction(n, 50)))
            for n, (key, gene) in enumerate([("dune", "Dune"), ("elm", "Elm")], start=1)
        ),
    )  # fmt: skip
    parent = stated(
        at, "Dune, Elm", Sex.FEMALE,
        phases=(Phase(("Dune", "Elm"), coupling=True),), on_chromosome=(("Dune", "W"),),
    )  # fmt: skip
    kept = belief_of(at, parent.restricted_to(at, ["elm"])).states(at, at.groups[0])
    for pair, _chance in kept:
        assert all((haplotype[0] == "W") == ("Elm" in haplotype) for haplotype in pair)


@settings(max_examples=150, deadline=None)
@given(data=st.data())
def test_restricted_to__changes_nothing_at_the_loci_it_keeps(data):
    small = data.draw(small_species())
    # Several strictly sex-linked loci are refused by the catalogue: one can bear on another.
    strict = [
        one for one in small.loci if one.sex_linkage and not one.sex_linkage.recombination_fraction
    ]
    assume(len(strict) < 2)
    parent = data.draw(statements(small, data.draw(st.sampled_from(Sex)), origins=True))
    kept = data.draw(st.sets(st.sampled_from([locus.key for locus in small.loci]), min_size=1))
    try:
        whole = belief_of(small, parent)
    except ContradictoryStatementError:
        return
    part = belief_of(small, parent.restricted_to(small, kept))
    for group in small.groups:
        shift = 1 if group.is_sex_group else 0
        places = [*range(shift), *(n + shift for n, k in enumerate(group.loci) if k in kept)]
        laws = []
        for belief in (whole, part):
            law = {}
            for pair, chance in belief.states(small, group):
                seen = tuple(sorted(tuple(h[place] for place in places) for h in pair))
                law[seen] = law.get(seen, 0) + chance
            laws.append(law)
        assert laws[0] == laws[1]


# --- refusals ---------------------------------------------------------------------------------


def refused(text, error, match, sex=Sex.FEMALE, **said):
    with pytest.raises(error, match=match) as found:
        belief_of(MOOR, stated(MOOR, text, sex, **said))
    return found.value.details()


def test_belief_of__refuses_a_possible_het_without_its_number():
    genes = stated_genes(MOOR, {"far": StatedLocus((), (("Far", None),))})
    with pytest.raises(PossibleHetNeedsNumberError) as found:
        belief_of(MOOR, ParentStatement(genes=genes, sex=Sex.MALE))
    assert found.value.details() == {"gene": "Far"}


def test_belief_of__refuses_two_alleles_where_there_is_one_copy():
    details = refused("Elm, Elm Mist", TooManyAllelesError, "at most 1 allele at")
    assert details == {"locus": "elm", "genes": ["Elm", "Elm Mist"]}
    refused("2 Elm, Elm Mist? 1/2", TooManyAllelesError, "at most 2 allele")


def test_belief_of__refuses_two_copies_of_a_visible_gene_where_there_is_one():
    details = refused("2 Elm Mist", TooManyAllelesError, "at most 1 allele at")
    assert details == {"locus": "elm", "genes": ["Elm Mist", "Elm Mist"]}


@pytest.mark.parametrize("text", ["Elm", "Elm? 2/3"])
def test_belief_of__refuses_a_het_of_a_single_copy(text):
    assert refused(text, ContradictoryStatementError, "can not be het") == {"gene": "Elm"}
    assert states("Elm", Sex.MALE, key="elm")  # the other sex can


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("2 Ash, Bay", {"phases": (REPELLED,)}),
        ("Ash, 2 Bay", {"phases": (REPELLED,)}),
        ("Ash, Ash Mist, Bay", {"phases": (COUPLED, MIST_COUPLED)}),
        (
            "Ash, Bay, Cliff",
            {"phases": (COUPLED, CLIFF_COUPLED, OUTER_REPELLED)},
        ),
        ("Ash, Bay", {"phases": (COUPLED,), "inherited_from": (("Ash", "sire"), ("Bay", "dam"))}),
        ("Dune", {"on_chromosome": (("Dune", "W"),), "inherited_from": (("Dune", "sire"),)}),
        ("2 Elm", {"on_chromosome": (("Elm", "W"),)}),
    ],
)  # fmt: skip
def test_belief_of__refuses_a_phase_that_can_not_be(text, said):
    details = refused(text, ContradictoryStatementError, "can not all hold in one animal", **said)
    assert details["genes"]


@pytest.mark.parametrize(
    "said",
    [
        {"unproven": ("Bay",)},
        {"phases": (COUPLED,)},
        {"on_chromosome": (("Bay", "Z"),)},
        {"inherited_from": (("Bay", "sire"),)},
    ],
)
def test_belief_of__refuses_what_is_said_of_a_gene_not_stated(said):
    details = refused("Ash", ContradictoryStatementError, "is not among the genes", **said)
    assert details == {"gene": "Bay"}


@pytest.mark.parametrize("genes", [("Ash", "Far"), ("Ash", "Dune"), ("Ash", "Ash")])
def test_belief_of__refuses_a_phase_of_unlinked_genes(genes):
    phases = (Phase(genes, coupling=True),)
    refused(
        "Ash, Far, Dune", ContradictoryStatementError, "not two genes of one linkage", phases=phases
    )


@pytest.mark.parametrize(("gene", "letter"), [("Ash", "Z"), ("Dune", "Y"), ("Dune", "X")])
def test_belief_of__refuses_a_place_on_a_chromosome_that_is_not_there(gene, letter):
    details = refused(
        "Ash, Dune",
        ContradictoryStatementError,
        "species' own sex chromosomes",
        on_chromosome=((gene, letter),),
    )
    assert details == {"gene": gene}
