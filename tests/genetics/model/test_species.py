"""Species: sexes, and files that contradict themselves."""

from fractions import Fraction

import pytest

from genetics.errors import SpeciesFaultError
from genetics.model.linkage import Linkage
from genetics.model.locus import Allele, Locus, Mode, SexLinkage
from genetics.model.species import Nickname, Sex, SexSystem, Species
from tests.factories.species import SPECIES_FILES, species_from_file


def locus(key, *genes, sex_linkage=None):
    return Locus(
        key, tuple(Allele(gene, Mode.RECESSIVE) for gene in genes), sex_linkage=sex_linkage
    )


def species(*loci, system=SexSystem.ZW, **said):
    return Species("made-up", "made-up gecko", system, loci, **said)


@pytest.mark.parametrize(
    ("system", "heterogametic"),
    [(SexSystem.XY, Sex.MALE), (SexSystem.ZW, Sex.FEMALE), (SexSystem.NONE, None)],
)
def test_heterogametic__is_the_sex_with_two_kinds(system, heterogametic):
    assert system.heterogametic is heterogametic


@pytest.mark.parametrize("system", [SexSystem.XY, SexSystem.ZW])
def test_chromosomes__and_sex_of_are_inverse(system):
    for sex in Sex:
        assert system.sex_of(*system.chromosomes(sex)) is sex
    fathers, mothers = (system.chromosomes(sex) for sex in Sex)
    children = [system.sex_of(one, other) for one in fathers for other in mothers]
    assert sorted(children) == sorted([Sex.MALE, Sex.FEMALE] * 2)


def test_chromosomes__are_from_sire_and_dam():
    assert SexSystem.XY.chromosomes(Sex.MALE) == ("Y", "X")
    assert SexSystem.ZW.chromosomes(Sex.FEMALE) == ("Z", "W")


def test_chromosomes__are_refused_without_any():
    with pytest.raises(SpeciesFaultError):
        SexSystem.NONE.chromosomes(Sex.MALE)
    with pytest.raises(SpeciesFaultError):
        SexSystem.NONE.sex_of("X", "Y")


@pytest.mark.parametrize("path", SPECIES_FILES, ids=lambda path: path.stem)
def test_groups__hold_every_locus_of_a_species_once(path):
    read = species_from_file(path)
    held = [key for group in read.groups for key in group.loci]
    assert sorted(held) == sorted(read.by_key)
    assert all(key in read.group_of[key].loci for key in held)
    assert list(read.place_of.values()) == list(range(len(read.loci)))
    for one in read.loci:
        for allele in one.alleles:
            assert read.locus_of[allele.name] is one
            assert read.allele(allele.name) is allele


SEX_LINKED = SexLinkage(Fraction(1, 10))


@pytest.mark.parametrize(
    ("make", "text"),
    [
        (lambda: species(locus("a", "Ash"), locus("a", "Bay")), "the locus a twice"),
        (lambda: species(locus("a", "Ash"), locus("b", "Ash")), "the gene Ash twice"),
        (
            lambda: species(locus("a", "Ash", sex_linkage=SEX_LINKED), system=SexSystem.NONE),
            "is sex-linked, but",
        ),
        (
            lambda: species(locus("a", "Ash"), nicknames=(Nickname("N", ("Ash", "Elm")),)),
            "The nickname N needs genes",
        ),
        (
            lambda: species(locus("a", "Ash"), nicknames=(Nickname("N", ()),)),
            "The nickname N needs genes",
        ),
        (
            lambda: species(locus("a", "Ash"), linkages=(Linkage(("a", "b"), Fraction(0)),)),
            "two different autosomal loci",
        ),
    ],
)
def test_species__refuses_what_contradicts_itself(make, text):
    with pytest.raises(SpeciesFaultError, match=text):
        make()


def test_species__is_compared_by_identity():
    one, other = (species(locus("a", "Ash")) for _ in range(2))
    assert one != other
    assert len({one, other}) == 2
