"""Looks at one locus, and the loci that contradict themselves."""

from fractions import Fraction

import pytest

from genetics.errors import SpeciesFaultError
from genetics.model.locus import Allele, Compound, Locus, Mode, SexLinkage
from tests.factories.species import SPECIES_FILES, species_from_file

RECESSIVE, VISIBLE, DOMINANT = Mode.RECESSIVE, Mode.INCOMPLETE_DOMINANT, Mode.DOMINANT


def series(**said):
    return Locus(
        "reed",
        (
            Allele("Reed", RECESSIVE),
            Allele("Rush", VISIBLE, super_names=("White Rush", "Ghost Rush")),
            Allele("Sedge", DOMINANT),
            Allele("Fen", VISIBLE),
        ),
        (Compound(("Rush", "Reed"), "Bog"), Compound(("Sedge", "Reed"), None)),
        **said,
    )


@pytest.mark.parametrize(
    ("pair", "look"),
    [
        (("+", "+"), ""),
        (("Reed", "+"), ""),
        (("Reed", "Reed"), "Reed"),
        (("Rush", "+"), "Rush"),
        (("Rush", "Rush"), "White Rush"),
        (("Fen", "Fen"), "Super Fen"),
        (("Sedge", "+"), "Sedge"),
        (("Sedge", "Sedge"), "Sedge"),
        (("Rush", "Reed"), "Bog"),
        (("Sedge", "Reed"), "Reed Sedge"),  # listed without a look
        (("Fen", "Reed"), "Reed Fen"),  # not listed: a state of its own
    ],
)
def test_look__of_each_kind_of_genotype(pair, look):
    locus = series()
    assert locus.look(locus.pair(*pair)) == look
    assert locus.look(locus.pair(*pair[::-1])) == look


@pytest.mark.parametrize(
    ("allele", "look"), [("Reed", "Reed"), ("Rush", "Rush"), ("Sedge", "Sedge"), ("+", "")]
)
def test_look__of_a_single_copy_shows(allele, look):
    locus = series(sex_linkage=SexLinkage(Fraction(0), heterogametic_copy=False))
    assert locus.look(locus.pair("-", allele)) == look


def test_pairs__are_every_genotype_once():
    locus = series()
    assert len(locus.pairs) == len(set(locus.pairs)) == 15  # 5 alleles: 5 + 10
    assert locus.pairs[-1] == ("+", "+")
    assert locus.single_copies == ()
    near = series(sex_linkage=SexLinkage(Fraction(0)))
    assert near.single_copies == ()
    strict = series(sex_linkage=SexLinkage(Fraction(0), heterogametic_copy=False))
    assert strict.single_copies == tuple((n, "-") for n in ("Reed", "Rush", "Sedge", "Fen", "+"))


def test_pair__refuses_an_allele_of_another_locus():
    with pytest.raises(KeyError):
        series().pair("Reed", "Heath")


@pytest.mark.parametrize("path", SPECIES_FILES, ids=lambda path: path.stem)
def test_states__part_the_genotypes_by_look(path):
    for locus in species_from_file(path).loci:
        seen = [pair for pairs in locus.states.values() for pair in pairs]
        assert sorted(seen) == sorted({*locus.pairs, *locus.single_copies})
        for look, pairs in locus.states.items():
            assert {locus.look(pair) for pair in pairs} == {look}


def test_ordered__is_the_order_of_the_file():
    locus = series()
    shuffled = [("+", "+"), ("Fen", "+"), ("Rush", "Fen"), ("Reed", "+"), ("Reed", "Reed")]
    assert locus.ordered(shuffled) == [
        ("Reed", "Reed"), ("Reed", "+"), ("Rush", "Fen"), ("Fen", "+"), ("+", "+"),
    ]  # fmt: skip


ONE = (Allele("Reed", RECESSIVE),)
TWO = (*ONE, Allele("Rush", VISIBLE))


@pytest.mark.parametrize(
    ("said", "text"),
    [
        ({"alleles": ()}, "one or more different alleles"),
        ({"alleles": (*ONE, *ONE)}, "one or more different alleles"),
        ({"alleles": (Allele("+", VISIBLE),)}, "one or more different alleles"),
        ({"alleles": (Allele("-", VISIBLE),)}, "one or more different alleles"),
        ({"alleles": (Allele("Reed", RECESSIVE, super_names=("S",)),)}, "no name for a super form"),
        ({"alleles": (Allele("Reed", DOMINANT, super_names=("S",)),)}, "no name for a super form"),
        ({"alleles": TWO, "compounds": (Compound(("Reed", "Reed"), "B"),)}, "two different"),
        ({"alleles": TWO, "compounds": (Compound(("Reed", "Fen"), "B"),)}, "two different"),
        ({"alleles": TWO, "compounds": (Compound(("Reed", "+"), "B"),)}, "two different"),
        ({"alleles": ONE, "sex_linkage": SexLinkage(Fraction(3, 5))}, "must lie from 0 to 1/2"),
        ({"alleles": ONE, "sex_linkage": SexLinkage(Fraction(-1, 5))}, "must lie from 0 to 1/2"),
        (
            {"alleles": ONE, "sex_linkage": SexLinkage(Fraction(1, 5), heterogametic_copy=False)},
            "must be 0",
        ),
    ],
)
def test_locus__refuses_what_contradicts_itself(said, text):
    with pytest.raises(SpeciesFaultError, match=text) as refused:
        Locus("reed", **said)
    assert refused.value.details() == {"locus": "reed"}
