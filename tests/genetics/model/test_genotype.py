"""Genotypes: equal animals are equal values."""

import pytest

from genetics.model.genotype import genotype_of
from tests.factories.species import made_up_species

SPECIES = made_up_species()


def test_genotype_of__forgets_order_and_wild_type():
    one = genotype_of(SPECIES, {"fire": ("Soot", "Flint"), "ember": ("+", "+")})
    other = genotype_of(SPECIES, {"dusk": ("+", "+"), "fire": ("Flint", "Soot")})
    assert one == other
    assert hash(one) == hash(other)
    assert one.pairs == (("fire", ("Flint", "Soot")),)


def test_genotype_of__keeps_the_order_of_the_species_file():
    found = genotype_of(SPECIES, {"lake": ("Lake", "+"), "ember": ("Ember", "Ember")})
    assert [key for key, _pair in found.pairs] == ["ember", "lake"]


def test_at__is_wild_type_where_nothing_is_said():
    found = genotype_of(SPECIES, {"lake": ("+", "Lake")})
    assert found.at("lake") == ("Lake", "+")
    assert found.at("dusk") == ("+", "+")


def test_genotype_of__refuses_an_allele_of_another_locus():
    with pytest.raises(KeyError):
        genotype_of(SPECIES, {"lake": ("Ember", "+")})
