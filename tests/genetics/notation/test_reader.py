"""What keepers write, read as an animal's genes.

The expected readings are common practice of the trade, no source.
"""

from fractions import Fraction

import pytest

from genetics.errors import (
    AmbiguousTextError,
    ChanceOutOfRangeError,
    ContradictoryStatementError,
    GeneOfAnotherSpeciesError,
    HetOfVisibleGeneError,
    SuperOfRecessiveError,
    TooManyAllelesError,
    UnknownGeneError,
    UnreadableTextError,
)
from genetics.model.statement import StatedLocus, stated_genes
from genetics.notation.reader import read_genes, read_look
from tests.factories.species import FIXTURES, made_up_species, species_from_file

SPECIES = made_up_species()
BALL_PYTHON = species_from_file(FIXTURES / "catalogue" / "ball-python.json")
LEOPARD_GECKO = species_from_file(FIXTURES / "catalogue" / "leopard-gecko.json")
TWO_THIRDS, HALF = Fraction(2, 3), Fraction(1, 2)


def stated(species=SPECIES, **loci):
    """Statements by locus key (``_`` for ``-``): certain alleles, or (allele, chance)."""
    return stated_genes(
        species,
        {
            key.replace("_", "-"): StatedLocus(
                certain=tuple(one for one in alleles if isinstance(one, str)),
                possible=tuple(one for one in alleles if not isinstance(one, str)),
            )
            for key, alleles in loci.items()
        },
    )


DUSK, HET_DUSK = ["Dusk", "Dusk"], ["Dusk"]


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("ember", stated(ember=["Ember"])),
        ("DUSK", stated(dusk=DUSK)),
        ("dusk dusk", stated(dusk=DUSK)),
        ("homozygous dusk", stated(dusk=DUSK)),
        ("hom. dusk", stated(dusk=DUSK)),
        ("visual dusk", stated(dusk=DUSK)),
        ("visual ember", stated(ember=["Ember"])),
        ("super hollow", stated(hollow=["Hollow"] * 2)),
        ("hollow x2", stated(hollow=["Hollow"] * 2)),
        ("hollow (x 2)", stated(hollow=["Hollow"] * 2)),
        ("hollow \u00d72, dusk", stated(hollow=["Hollow"] * 2, dusk=DUSK)),
        ("2x hollow", stated(hollow=["Hollow"] * 2)),
        ("dusk 2x hollow", stated(hollow=["Hollow"] * 2, dusk=DUSK)),
        ("dusk, hollow 2x", stated(hollow=["Hollow"] * 2, dusk=DUSK)),
        ("hollow, hollow", stated(hollow=["Hollow"] * 2)),
        ("homozygous s&s", stated(sand=["Sand & Salt"] * 2)),
        ("super sand and salt", stated(sand=["Sand & Salt"] * 2)),
        ("spark/flint", stated(fire=["Flint", "Spark"])),
        ("flint het soot", stated(fire=["Flint", "Soot"])),
        ("het reed het rush", stated(reed=["Reed", "Rush"])),
        ("rush - reed", stated(reed=["Reed", "Rush"])),
        ("reed", stated(reed=["Reed", "Reed"])),
        ("grey fire", stated(fire=["Spark", "Soot"])),
        ("campfire", stated(ember=["Ember"], dusk=DUSK)),
        ("campfire ember", stated(ember=["Ember"] * 2, dusk=DUSK)),
        ("homozygous twilight", stated(dusk=DUSK, lake=["Lake"] * 2)),
        (
            "Bonfire\tTwilight",
            stated(ember=["Ember"] * 2, dusk=DUSK, lake=["Lake"] * 2, fire=["Flint"]),
        ),
        ("normal", stated()),
        ("Wild-Type", stated()),
        ("wildtype", stated()),
        ("normal het dusk", stated(dusk=HET_DUSK)),
    ],
)
def test_read_genes__reads_what_shows(text, expected):
    assert read_genes(SPECIES, text) == expected


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("het dusk", stated(dusk=HET_DUSK)),
        ("100% het dusk", stated(dusk=HET_DUSK)),
        ("100% possible het dusk", stated(dusk=HET_DUSK)),
        ("hets for dusk, lake", stated(dusk=HET_DUSK, lake=["Lake"])),
        ("hets: dusk, lake", stated(dusk=HET_DUSK, lake=["Lake"])),
        ("het for dusk, lake", stated(dusk=HET_DUSK, lake=["Lake"])),
        ("het dusk/lake", stated(dusk=HET_DUSK, lake=["Lake"])),
        ("het dusk & lake + reed", stated(dusk=HET_DUSK, lake=["Lake"], reed=["Reed"])),
        ("het dusk and ember", stated(dusk=HET_DUSK, ember=["Ember"])),
        ("het dusk ember", stated(dusk=HET_DUSK, ember=["Ember"])),
        ("het dusk ember lake", stated(dusk=HET_DUSK, ember=["Ember"], lake=["Lake"] * 2)),
        ("lake het dusk", stated(dusk=HET_DUSK, lake=["Lake"] * 2)),
        ("het dusk visual lake", stated(dusk=HET_DUSK, lake=["Lake"] * 2)),
        ("het dusk homozygous lake", stated(dusk=HET_DUSK, lake=["Lake"] * 2)),
        ("double het dusk lake", stated(dusk=HET_DUSK, lake=["Lake"])),
        ("double het for dusk, lake", stated(dusk=HET_DUSK, lake=["Lake"])),
        ("dh twilight ember", stated(dusk=HET_DUSK, lake=["Lake"], ember=["Ember"])),
        ("triple het dusk lake reed", stated(dusk=HET_DUSK, lake=["Lake"], reed=["Reed"])),
        ("het twilight", stated(dusk=HET_DUSK, lake=["Lake"])),
        ("66% het dusk", stated(dusk=[("Dusk", TWO_THIRDS)])),
        ("66 % poss. het dusk", stated(dusk=[("Dusk", TWO_THIRDS)])),
        ("67% ph dusk", stated(dusk=[("Dusk", TWO_THIRDS)])),
        ("50% possible het dusk", stated(dusk=[("Dusk", HALF)])),
        ("33% het dusk", stated(dusk=[("Dusk", Fraction(1, 3))])),
        ("2.5% het dusk", stated(dusk=[("Dusk", Fraction(1, 40))])),
        ("poss het dusk", stated(dusk=[("Dusk", None)])),
        ("ph dusk", stated(dusk=[("Dusk", None)])),
        ("50% het dusk/lake", stated(dusk=[("Dusk", HALF)], lake=[("Lake", HALF)])),
        (
            "66% double het dusk lake",
            stated(dusk=[("Dusk", TWO_THIRDS)], lake=[("Lake", TWO_THIRDS)]),
        ),
        ("het reed 50% het rush", stated(reed=["Reed", ("Rush", HALF)])),
        ("spark 66% het soot", stated(fire=["Spark", ("Soot", TWO_THIRDS)])),
    ],
)
def test_read_genes__reads_hets(text, expected):
    assert read_genes(SPECIES, text) == expected


@pytest.mark.parametrize(
    ("text", "readings"),
    [
        ("het dusk lake", ["Lake het Dusk", "het Dusk het Lake"]),
        ("het dusk, lake", ["Lake het Dusk", "het Dusk het Lake"]),
        ("double het dusk lake reed", ["Reed het Dusk het Lake", "het Dusk het Lake het Reed"]),
        ("het for dusk, ember, lake", ["Ember Lake het Dusk", "Ember het Dusk het Lake"]),
        ("dusk fern lake", ["Dusk, Fern Lake", "Dusk Fern, Lake"]),
        ("pale fire", ["Super Flint", "Super Spark", "Flint Spark"]),
        ("dusk pale fire", ["Dusk Super Flint", "Dusk Super Spark", "Dusk Flint Spark"]),
    ],
)
def test_read_genes__lists_every_reading_of_ambiguous_text(text, readings):
    with pytest.raises(AmbiguousTextError) as refused:
        read_genes(SPECIES, text)
    assert sorted(refused.value.fields["readings"]) == sorted(readings)
    for reading in readings:
        read_genes(SPECIES, reading)


def test_read_genes__refuses_het_of_a_compound():
    species = species_from_file(FIXTURES / "catalogue" / "corn-snake.json")
    with pytest.raises(AmbiguousTextError) as refused:
        read_genes(species, "het ultramel")
    assert refused.value.fields["readings"] == ["het Amelanism", "het Ultra"]


@pytest.mark.parametrize("text", ["super dusk", "dusk x2", "2x dusk", "ember dusk, lake x2"])
def test_read_genes__refuses_super_of_a_recessive(text):
    with pytest.raises(SuperOfRecessiveError, match="has no super form"):
        read_genes(SPECIES, text)


@pytest.mark.parametrize("text", ["het ember", "66% het ember", "het campfire", "het pale fire"])
def test_read_genes__refuses_het_of_a_visible_gene(text):
    with pytest.raises(HetOfVisibleGeneError, match="shows in one copy"):
        read_genes(SPECIES, text)


@pytest.mark.parametrize(
    ("text", "genes"),
    [
        ("flint spark soot", ["Flint", "Spark", "Soot"]),
        ("super flint spark", ["Flint", "Flint", "Spark"]),
        ("pale fire soot", ["Flint", "Flint", "Soot"]),
        ("dusk dusk dusk", ["Dusk", "Dusk", "Dusk"]),
        ("reed 50% het rush", ["Reed", "Reed", "Rush"]),
    ],
)
def test_read_genes__refuses_three_alleles_and_names_the_locus(text, genes):
    with pytest.raises(TooManyAllelesError, match="at most 2 alleles at the locus") as refused:
        read_genes(SPECIES, text)
    assert refused.value.fields["genes"] == genes
    assert refused.value.fields["locus"] in {"fire", "dusk", "reed"}


@pytest.mark.parametrize(
    "text",
    [
        "dusk het dusk",
        "het dusk het dusk",
        "het dusk 50% het dusk",
        "66% het dusk 50% het dusk",
        "dusk 66% het dusk",
        "normal ember",
        "normal dusk",
        "normal het reed het rush",
        "het dusk twilight reed",
    ],
)
def test_read_genes__refuses_statements_that_contradict_each_other(text):
    with pytest.raises(ContradictoryStatementError):
        read_genes(SPECIES, text)


@pytest.mark.parametrize(
    "text",
    [
        "het",
        "ember het",
        "super",
        "x2",
        "hollow x2 x2",
        "66% dusk",
        "dusk 66%",
        "poss dusk",
        "for dusk",
        "het het dusk",
        "het 66% dusk",
        "50% 66% het dusk",
        "het super hollow",
        "super het dusk",
        "super super hollow",
        "het normal",
        "het dusk x2",
        "double dusk lake",
        "double het dusk",
        "double het dusk, het lake",
        "double het dusk normal",
        "triple het dusk lake twilight",
        "double het reed twilight",
        "super campfire",
        "homozygous campfire",
        "super grey fire",
        "",
    ],
)
def test_read_genes__refuses_words_in_an_order_that_means_nothing(text):
    with pytest.raises(UnreadableTextError):
        read_genes(SPECIES, text)


@pytest.mark.parametrize("text", ["0% het dusk", "101% het dusk", "0.0% ph dusk"])
def test_read_genes__refuses_impossible_chances(text):
    with pytest.raises(ChanceOutOfRangeError):
        read_genes(SPECIES, text)


def test_read_genes__suggests_names_for_an_unknown_word():
    with pytest.raises(UnknownGeneError, match="Did you mean Hollow") as refused:
        read_genes(SPECIES, "ember holow dusk")
    assert refused.value.details() == {"word": "holow", "suggestions": ["Hollow"]}


def test_read_genes__names_the_species_that_has_the_gene():
    with pytest.raises(GeneOfAnotherSpeciesError, match="known in the bog newt"):
        read_genes(SPECIES, "Ember Moss-Back", other_species={"moss back": ["bog newt"]})


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("Het Russo", stated(BALL_PYTHON, bp_blue_eye_white=["Russo"])),
        ("lesser het russo", stated(BALL_PYTHON, bp_blue_eye_white=["Lesser", "Russo"])),
        ("100% het russo", stated(BALL_PYTHON, bp_blue_eye_white=["Russo"])),
        ("vpi axanthic", stated(BALL_PYTHON, bp_axanthic_vpi=["Axanthic (VPI)"] * 2)),
        ("8 ball", stated(BALL_PYTHON, bp_eight_ball=["Cinnamon", "Black Pastel"])),
        ("desert ghost", stated(BALL_PYTHON, bp_desert_ghost=["Desert Ghost"] * 2)),
        ("desert, ghost", stated(BALL_PYTHON, bp_desert=["Desert"], bp_ghost=["Ghost"] * 2)),
        (
            "killer-clown/het PIED",
            stated(
                BALL_PYTHON,
                bp_pastel=["Pastel"] * 2,
                bp_clown=["Clown"] * 2,
                bp_piebald=["Piebald"],
            ),
        ),
        ("w&y", stated(LEOPARD_GECKO, lg_white_yellow=["White & Yellow"])),
        ("white and yellow", stated(LEOPARD_GECKO, lg_white_yellow=["White & Yellow"])),
        ("super snow", stated(LEOPARD_GECKO, lg_mack_snow=["Mack Snow"] * 2)),
    ],
)
def test_read_genes__reads_names_of_the_catalogue(text, expected):
    species = BALL_PYTHON if expected.loci[0][0].startswith("bp") else LEOPARD_GECKO
    assert read_genes(species, text) == expected


@pytest.mark.parametrize("text", ["66% het russo", "possible het russo"])
def test_read_genes__refuses_a_possible_copy_of_a_gene_called_het(text):
    with pytest.raises(HetOfVisibleGeneError, match="Russo shows"):
        read_genes(BALL_PYTHON, text)


def test_read_genes__lists_all_eight_genotypes_of_a_shared_look():
    with pytest.raises(AmbiguousTextError, match="8 ways") as refused:
        read_genes(BALL_PYTHON, "pastel blue eyed leucistic")
    assert "Super Lesser Pastel" in refused.value.fields["readings"]
    assert "Lesser Mojave Pastel" in refused.value.fields["readings"]


def test_read_look__refuses_what_read_genes_refuses():
    with pytest.raises(UnknownGeneError):
        read_look(SPECIES, "holow")
    with pytest.raises(AmbiguousTextError) as refused:
        read_look(SPECIES, "het dusk lake")
    assert refused.value.fields["readings"] == ["Lake het Dusk", "het Dusk het Lake"]
