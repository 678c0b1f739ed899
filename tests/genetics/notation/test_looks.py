"""What a hatchling is called: visible states and hets besides."""

from fractions import Fraction

import pytest

from genetics.errors import ContradictoryStatementError, TooManyAllelesError, UnreadableTextError
from genetics.model.locus import ABSENT, WILD
from genetics.model.statement import StatedGenes, StatedLocus, stated_genes
from genetics.notation.reader import read_look
from tests.factories.species import FIXTURES, made_up_species, species_from_file

SPECIES = made_up_species()


def seen(text, species=SPECIES):
    look = read_look(species, text)
    return [(one.wording, set(one.pairs)) for one in look.looks]


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("ember", [("Ember", {("Ember", WILD)})]),
        ("dusk", [("Dusk", {("Dusk", "Dusk")})]),
        ("reed", [("Reed", {("Reed", "Reed"), ("Reed", "Rush")})]),
        ("homozygous reed", [("Reed", {("Reed", "Reed"), ("Reed", "Rush")})]),
        ("reed rush", [("Reed Rush", {("Reed", "Rush")})]),
        ("reed het rush", [("Reed Rush", {("Reed", "Rush")})]),
        ("het reed het rush", [("Reed Rush", {("Reed", "Rush")})]),
        ("s&s", [("Sand & Salt", {("Sand & Salt", WILD), ("Sand & Salt",) * 2})]),
        ("super s&s", [("Super Sand & Salt", {("Sand & Salt",) * 2})]),
        ("super hollow", [("Super Hollow", {("Hollow", "Hollow")})]),
        ("pale fire", [("Pale Fire", {("Flint",) * 2, ("Spark",) * 2, ("Flint", "Spark")})]),
        ("spark flint", [("Flint Spark", {("Flint", "Spark")})]),
        ("super flint", [("Super Flint", {("Flint", "Flint")})]),
        ("spark het soot", [("Grey Fire", {("Spark", "Soot")})]),
        ("flint soot", [("Flint Soot", {("Flint", "Soot")})]),
        ("night", [("Night", {("Night", "Night"), ("Night", ABSENT)})]),
        ("noon", [("Noon", {("Noon", WILD), ("Noon", ABSENT)})]),
        ("super noon", [("Super Noon", {("Noon", "Noon")})]),
        ("bonfire", [("Super Ember", {("Ember",) * 2}), ("Flint", {("Flint", WILD)})]),
        ("flint ember", [("Ember", {("Ember", WILD)}), ("Flint", {("Flint", WILD)})]),
        ("normal", []),
    ],
)
def test_read_look__gives_the_genotypes_that_are_meant(text, expected):
    assert seen(text) == expected


def test_read_look__keeps_hets_apart():
    look = read_look(SPECIES, "ember reed het dusk 66% het lake, 50% het rush")
    assert [one.wording for one in look.looks] == ["Ember", "Reed"]
    assert look.hets == stated_genes(
        SPECIES,
        {
            "dusk": StatedLocus(certain=("Dusk",)),
            "lake": StatedLocus(possible=(("Lake", Fraction(2, 3)),)),
            "reed": StatedLocus(possible=(("Rush", Fraction(1, 2)),)),
        },
    )


def test_read_look__has_no_hets_where_none_are_stated():
    assert read_look(SPECIES, "ember reed rush").hets == StatedGenes()


@pytest.mark.parametrize(
    ("text", "mistake"),
    [
        ("pale fire flint", ContradictoryStatementError),
        ("pale fire pale fire", ContradictoryStatementError),
        ("pale fire 50% het soot", ContradictoryStatementError),
        ("flint spark soot", TooManyAllelesError),
        ("super pale fire", UnreadableTextError),
        ("normal ember", ContradictoryStatementError),
        ("normal pale fire", ContradictoryStatementError),
    ],
)
def test_read_look__refuses_what_can_not_be_seen_together(text, mistake):
    with pytest.raises(mistake):
        read_look(SPECIES, text)


@pytest.mark.parametrize(
    ("text", "wording", "n_genotypes"),
    [
        ("motley", "Motley", 2),
        ("striped motley", "Motley Stripe", 1),
        ("stripe", "Stripe", 1),
        ("amel ultra", "Ultramel", 1),
    ],
)
def test_read_look__follows_the_series_of_the_catalogue(text, wording, n_genotypes):
    species = species_from_file(FIXTURES / "catalogue" / "corn-snake.json")
    ((read, pairs),) = seen(text, species)
    assert (read, len(pairs)) == (wording, n_genotypes)


def test_read_look__follows_the_dominance_order_of_the_rabbit_series():
    """Full colour, chinchilla, himalayan, albino: source in the species file (Castle 1930)."""
    species = species_from_file(FIXTURES / "published" / "species" / "rabbit.json")
    assert [
        len(pairs)
        for text in ("chinchilla", "himalayan", "albino")
        for _, pairs in seen(text, species)
    ] == [3, 2, 1]
