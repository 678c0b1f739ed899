"""Statements: their order, and what is refused."""

from fractions import Fraction

import pytest

from genetics.errors import (
    ChanceOutOfRangeError,
    ContradictoryStatementError,
    TooManyAllelesError,
)
from genetics.model.genotype import genotype_of
from genetics.model.statement import StatedLocus, stated_from_genotype, stated_genes
from tests.factories.species import made_up_species

SPECIES = made_up_species()
HALF, THIRD = Fraction(1, 2), Fraction(1, 3)


def test_stated_genes__is_in_the_order_of_the_species():
    found = stated_genes(
        SPECIES,
        {
            "fire": StatedLocus(("Soot",), (("Flint", HALF),)),
            "ember": StatedLocus(("Ember", "Ember")),
            "reed": StatedLocus((), (("Rush", HALF), ("Reed", THIRD))),
            "dusk": StatedLocus(),
        },
    )
    assert [key for key, _stated in found.loci] == ["ember", "fire", "reed"]
    assert found.at("reed").possible == (("Reed", THIRD), ("Rush", HALF))
    assert found.at("dusk") == StatedLocus()
    assert found.genes == ("Ember", "Soot", "Flint", "Reed", "Rush")
    assert not found.is_certain
    assert found.genotype_pairs(SPECIES) == {
        "ember": ("Ember", "Ember"),
        "fire": ("Soot", "+"),
        "reed": ("+", "+"),
    }


def test_stated_genes__sorts_the_two_alleles():
    found = stated_genes(SPECIES, {"fire": StatedLocus(("Soot", "Flint"))})
    assert found.at("fire").certain == ("Flint", "Soot")
    assert found.is_certain


@pytest.mark.parametrize(
    "stated",
    [
        StatedLocus(("Flint", "Spark", "Soot")),
        StatedLocus(("Flint", "Flint", "Flint")),
        StatedLocus(("Flint", "Spark"), (("Soot", HALF),)),
        StatedLocus((), (("Flint", HALF), ("Spark", HALF), ("Soot", HALF))),
    ],
)
def test_stated_genes__refuses_a_third_allele(stated):
    with pytest.raises(TooManyAllelesError, match="at most 2 alleles at the locus fire") as refused:
        stated_genes(SPECIES, {"fire": stated})
    assert refused.value.details() == {"locus": "fire", "genes": list(stated.alleles)}


@pytest.mark.parametrize("chance", [Fraction(0), Fraction(1), Fraction(-1, 2), Fraction(3, 2)])
def test_stated_genes__refuses_a_chance_that_is_none(chance):
    with pytest.raises(ChanceOutOfRangeError) as refused:
        stated_genes(SPECIES, {"lake": StatedLocus((), (("Lake", chance),))})
    assert refused.value.details() == {"gene": "Lake", "chance": str(chance)}


def test_stated_genes__keeps_a_possible_het_without_its_number():
    stated = StatedLocus((), (("Lake", None),))
    assert stated_genes(SPECIES, {"lake": stated}).at("lake") == stated


@pytest.mark.parametrize(
    "stated",
    [StatedLocus(("Lake",), (("Lake", HALF),)), StatedLocus((), (("Lake", HALF), ("Lake", THIRD)))],
)
def test_stated_genes__refuses_a_gene_stated_twice(stated):
    with pytest.raises(ContradictoryStatementError, match="Lake is stated twice"):
        stated_genes(SPECIES, {"lake": stated})


def test_stated_from_genotype__says_just_this_genotype():
    pairs = {"fire": ("Spark", "+"), "lake": ("Lake", "Lake"), "dusk": ("+", "+")}
    found = stated_from_genotype(genotype_of(SPECIES, pairs))
    assert found == stated_genes(
        SPECIES, {"fire": StatedLocus(("Spark",)), "lake": StatedLocus(("Lake", "Lake"))}
    )
