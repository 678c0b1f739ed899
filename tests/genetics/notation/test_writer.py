"""The canonical text of genes and looks."""

from fractions import Fraction

import pytest

from genetics.errors import HetOfVisibleGeneError
from genetics.model.genotype import genotype_of
from genetics.model.locus import ABSENT
from genetics.model.statement import StatedGenes, StatedLocus, stated_from_genotype, stated_genes
from genetics.notation.looks import LocusLook, ReadLook
from genetics.notation.reader import read_genes, read_look
from genetics.notation.writer import canonical_look, canonical_text
from tests.factories.species import made_up_species

SPECIES = made_up_species()


@pytest.mark.parametrize(
    ("text", "canonical"),
    [
        ("HET LAKE hollow/reed", "Hollow Reed het Lake"),
        ("2x hollow", "Super Hollow"),
        ("dusk, dusk", "Dusk"),
        ("soot spark", "Spark Soot"),
        ("twilight", "Dusk Lake"),
        ("ph lake 66.6% het dusk het reed", "het Reed 66% het Dusk possible het Lake"),
        ("s&s", "Sand & Salt"),
        ("wild type", "Normal"),
        ("normal het dusk", "het Dusk"),
        ("2/7 het dusk", "2/7 het Dusk"),
    ],
)
def test_canonical_text__has_one_form(text, canonical):
    assert canonical_text(SPECIES, read_genes(SPECIES, text)) == canonical


@pytest.mark.parametrize(
    ("pairs", "canonical"),
    [
        ({"ember": ("Ember", "+"), "dusk": ("Dusk",) * 2}, "Ember, Dusk"),
        ({"dusk": ("Dusk",) * 2, "fern-lake": ("Fern Lake",) * 2}, "Dusk, Fern Lake"),
        ({"ember": ("Ember", "Ember")}, "Ember x2"),
        ({"ember": ("Ember", "Ember"), "dusk": ("Dusk",) * 2}, "Ember x2 Dusk"),
        ({"super-ember": ("Super Ember",) * 2}, "Super Ember"),
    ],
)
def test_canonical_text__keeps_names_apart_that_run_into_each_other(pairs, canonical):
    genes = stated_from_genotype(genotype_of(SPECIES, pairs))
    assert canonical_text(SPECIES, genes) == canonical
    assert read_genes(SPECIES, canonical) == genes


@pytest.mark.parametrize(
    ("pair", "canonical"), [(("Night", ABSENT), "Night"), (("Noon", ABSENT), "Noon")]
)
def test_canonical_text__writes_a_single_copy_as_it_shows(pair, canonical):
    genes = stated_from_genotype(genotype_of(SPECIES, {"night": pair}))
    assert canonical_text(SPECIES, genes) == canonical


def test_canonical_text__writes_a_missing_copy_beside_wild_type_as_nothing():
    genes = stated_from_genotype(genotype_of(SPECIES, {"night": ("+", ABSENT)}))
    assert canonical_text(SPECIES, genes) == "Normal"


def test_canonical_text__refuses_a_possible_gene_that_would_show():
    genes = stated_genes(SPECIES, {"ember": StatedLocus(possible=(("Ember", Fraction(1, 2)),))})
    with pytest.raises(HetOfVisibleGeneError):
        canonical_text(SPECIES, genes)


@pytest.mark.parametrize(
    ("text", "canonical"),
    [
        ("spark het soot het dusk", "Grey Fire het Dusk"),
        ("flint spark", "Flint Spark"),
        ("pale fire ember", "Ember Pale Fire"),
        ("campfire", "Ember, Dusk"),
        ("wildtype ph dusk", "possible het Dusk"),
        ("normal", "Normal"),
    ],
)
def test_canonical_look__has_one_form(text, canonical):
    look = read_look(SPECIES, text)
    assert canonical_look(SPECIES, look) == canonical
    assert read_look(SPECIES, canonical) == look


def test_canonical_look__writes_a_state_by_its_genes_where_its_name_means_another():
    look = ReadLook(
        looks=(
            LocusLook("ember", frozenset([("Ember", "Ember")]), "Super Ember"),
            LocusLook("dusk", frozenset([("Dusk", "Dusk")]), "Dusk"),
        ),
        hets=StatedGenes(),
    )
    assert canonical_look(SPECIES, look) == "Ember x2 Dusk"
    assert read_look(SPECIES, "Ember x2 Dusk") == look
