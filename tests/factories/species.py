"""Species for tests: read from a catalogue file, or made up by hand."""

import json
from fractions import Fraction
from pathlib import Path

from genetics.model.linkage import Linkage
from genetics.model.locus import Allele, Compound, Locus, Mode, SexLinkage
from genetics.model.species import Nickname, SexSystem, Species

FIXTURES = Path(__file__).parents[2] / "fixtures"
CATALOGUE_FILES = sorted((FIXTURES / "catalogue").glob("*.json"))
SPECIES_FILES = [
    *CATALOGUE_FILES,
    *sorted((FIXTURES / "demo").glob("*.json")),
    *sorted((FIXTURES / "published" / "species").glob("*.json")),
]


def species_from_file(path: Path) -> Species:
    """The species of a catalogue file (``fixtures/catalogue/FORMAT.md``), without its sources."""
    content = json.loads(path.read_text("utf-8"))
    about = content["species"]
    return Species(
        key=about["key"],
        name=about["common_name"],
        sex_system=SexSystem(about["sex_determination"]),
        loci=tuple(_locus(entry) for entry in content["loci"]),
        linkages=tuple(
            Linkage(tuple(entry["loci"]), Fraction(entry["recombination_fraction"]))
            for entry in content.get("linkage", [])
        ),
        nicknames=tuple(
            Nickname(name=entry["name"], genes=tuple(entry["genes"]))
            for entry in content.get("nicknames", [])
        ),
    )


def _locus(entry):
    linkage = entry.get("sex_linkage")
    return Locus(
        key=entry["key"],
        alleles=tuple(
            Allele(
                name=allele["gene"],
                mode=Mode(allele["mode"]),
                aliases=tuple(allele.get("aliases", [])),
                super_names=tuple(allele.get("super_names", [])),
            )
            for allele in entry["alleles"]
        ),
        compounds=tuple(
            Compound(alleles=tuple(compound["genes"]), look=compound.get("look"))
            for compound in entry.get("compounds", [])
        ),
        sex_linkage=None
        if linkage is None
        else SexLinkage(
            recombination_fraction=Fraction(linkage["recombination_fraction"]),
            heterogametic_copy=linkage.get("heterogametic_copy", True),
        ),
    )


def made_up_species() -> Species:
    """A species with invented genes, one of every kind, and names that run into each other.

    ``Dusk Fern Lake`` splits in two ways; ``Ember Dusk`` is another name of Hollow, ``Super
    Ember`` a gene of its own, and the look ``Pale Fire`` is shared by three genotypes.
    """
    recessive, visible = Mode.RECESSIVE, Mode.INCOMPLETE_DOMINANT
    return Species(
        key="made-up",
        name="made-up gecko",
        sex_system=SexSystem.ZW,
        loci=(
            Locus(key="ember", alleles=(Allele("Ember", visible),)),
            Locus(key="dusk", alleles=(Allele("Dusk", recessive),)),
            Locus(key="fern-lake", alleles=(Allele("Fern Lake", recessive),)),
            Locus(key="dusk-fern", alleles=(Allele("Dusk Fern", recessive),)),
            Locus(key="lake", alleles=(Allele("Lake", recessive),)),
            Locus(key="hollow", alleles=(Allele("Hollow", visible, aliases=("Ember Dusk",)),)),
            Locus(key="super-ember", alleles=(Allele("Super Ember", recessive),)),
            Locus(key="sand", alleles=(Allele("Sand & Salt", Mode.DOMINANT, aliases=("S&S",)),)),
            Locus(
                key="fire",
                alleles=(
                    Allele("Flint", visible, super_names=("Pale Fire",)),
                    Allele("Spark", visible, super_names=("Pale Fire",)),
                    Allele("Soot", recessive),
                ),
                compounds=(
                    Compound(alleles=("Flint", "Spark"), look="Pale Fire"),
                    Compound(alleles=("Spark", "Soot"), look="Grey Fire"),
                ),
            ),
            Locus(
                key="reed",
                alleles=(Allele("Reed", recessive), Allele("Rush", recessive)),
                compounds=(Compound(alleles=("Reed", "Rush"), look="Reed"),),
            ),
            Locus(
                key="night",
                alleles=(Allele("Night", recessive), Allele("Noon", visible)),
                sex_linkage=SexLinkage(
                    recombination_fraction=Fraction(0), heterogametic_copy=False
                ),
            ),
        ),
        nicknames=(
            Nickname("Twilight", ("Dusk", "Lake")),
            Nickname("Campfire", ("Ember", "Dusk")),
            Nickname("Pale Fire", ("Flint", "Spark")),
            Nickname("Bonfire", ("Ember", "Ember", "Flint")),
        ),
    )
