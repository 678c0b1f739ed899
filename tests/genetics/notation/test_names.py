"""The names of a species and their meanings."""

import gc
import weakref

import pytest

from genetics.errors import SpeciesFaultError
from genetics.model.locus import WILD, Allele, Compound, Locus, Mode
from genetics.model.species import Nickname, SexSystem, Species
from genetics.notation.names import names_of, pairs_of_genes
from tests.factories.species import CATALOGUE_FILES, made_up_species, species_from_file


def species_with(*alleles, nicknames=()):
    return Species(
        key="s",
        name="made-up newt",
        sex_system=SexSystem.NONE,
        loci=tuple(Locus(key=allele.name, alleles=(allele,)) for allele in alleles),
        nicknames=nicknames,
    )


def recessive(name, *aliases):
    return Allele(name, Mode.RECESSIVE, aliases=aliases)


def test_names_of__is_built_once_and_goes_with_its_species():
    species = made_up_species()
    assert names_of(species) is names_of(species)
    watched = weakref.ref(species)
    del species
    gc.collect()
    assert watched() is None


def test_names_of__knows_names_in_normal_form():
    known = names_of(made_up_species()).known_names
    assert {"fern lake", "s s", "sand salt", "pale fire", "twilight"} <= known


@pytest.mark.parametrize(
    ("species", "fault"),
    [
        (lambda: species_with(recessive("Night-Sky"), recessive("Night Sky")), "two genes called"),
        (lambda: species_with(recessive("Super")), "no word of its own"),
        (lambda: species_with(recessive("Wild Type")), "no word of its own"),
        (lambda: species_with(recessive("???")), "no word of its own"),
        (lambda: species_with(recessive("Dusk", "50% Dusk")), "reads as a chance"),
        (lambda: species_with(recessive("Dusk", "Het Dawn")), "one copy of a recessive"),
        (
            lambda: species_with(
                recessive("Dusk"), nicknames=(Nickname("Threefold", ("Dusk",) * 3),)
            ),
            "three alleles",
        ),
    ],
)
def test_names_of__refuses_names_that_can_not_be_read(species, fault):
    with pytest.raises(SpeciesFaultError, match=fault):
        names_of(species())


def test_names_of__lets_the_gene_win_over_a_look_of_the_same_name():
    senses = names_of(made_up_species()).by_words["reed",].senses
    assert [sense.genes for sense in senses] == [("Reed",)]


def test_names_of__keeps_every_meaning_of_a_shared_look():
    name = names_of(made_up_species()).by_words["pale", "fire"]
    assert {sense.genes for sense in name.senses} == {
        ("Flint", "Flint"),
        ("Spark", "Spark"),
        ("Flint", "Spark"),
    }
    assert [sense.state for sense in name.look_senses] == [("fire", "Pale Fire")]


def test_names_of__keeps_a_nickname_apart_from_a_look_of_the_same_name():
    species = Species(
        key="s",
        name="made-up newt",
        sex_system=SexSystem.NONE,
        loci=(
            Locus(key="dusk", alleles=(recessive("Dusk"),)),
            Locus(
                key="fire",
                alleles=(recessive("Flint"), recessive("Spark"), recessive("Soot")),
                compounds=(
                    Compound(alleles=("Flint", "Spark"), look="Glow"),
                    Compound(alleles=("Flint", "Soot"), look="Glow"),
                ),
            ),
        ),
        nicknames=(Nickname("Glow", ("Dusk",)),),
    )
    senses = names_of(species).by_words["glow",].look_senses
    assert [(sense.state, sense.genes) for sense in senses] == [
        (("fire", "Glow"), ("Flint", "Spark", "Soot")),
        (None, ("Dusk",)),
    ]


def test_pairs_of_genes__follows_the_rule_of_nicknames():
    pairs = pairs_of_genes(made_up_species(), ("Ember", "Ember", "Dusk", "Soot", "Flint", "Hollow"))
    assert pairs == {
        "ember": ("Ember", "Ember"),
        "dusk": ("Dusk", "Dusk"),
        "fire": ("Flint", "Soot"),
        "hollow": ("Hollow", WILD),
    }


@pytest.mark.parametrize(
    ("pairs", "names"),
    [
        ({"ember": ("Ember", WILD), "dusk": ("Dusk", "Dusk")}, ("Campfire",)),
        ({"ember": ("Ember", WILD), "lake": (WILD, WILD)}, ()),
        ({"fire": ("Flint", "Spark"), "lake": (WILD, WILD)}, ("Pale Fire",)),
        ({"fire": ("Spark", "Spark")}, ("Pale Fire",)),
        ({"dusk": ("Dusk", WILD), "lake": ("Lake", "Lake")}, ()),
        ({}, ()),
    ],
)
def test_nicknames_for__finds_the_names_of_exactly_this_genotype(pairs, names):
    assert names_of(made_up_species()).nicknames_for(pairs) == names


@pytest.mark.parametrize("path", CATALOGUE_FILES, ids=lambda path: path.stem)
def test_nicknames_for__finds_every_nickname_of_the_catalogue(path):
    species = species_from_file(path)
    assert species.nicknames
    for nickname in species.nicknames:
        pairs = pairs_of_genes(species, nickname.genes)
        assert nickname.name in names_of(species).nicknames_for(pairs)
