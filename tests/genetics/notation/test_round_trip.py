"""What is written reads back: every genotype of every species, and whatever keepers type."""

import time
from fractions import Fraction
from functools import cache

import pytest
from hypothesis import given
from hypothesis import strategies as st

from genetics.errors import GeneticsError, UnreadableTextError
from genetics.model.genotype import genotype_of
from genetics.model.locus import WILD
from genetics.model.statement import StatedGenes, StatedLocus, stated_from_genotype, stated_genes
from genetics.notation.looks import LocusLook, ReadLook
from genetics.notation.names import names_of
from genetics.notation.reader import read_genes, read_look
from genetics.notation.readings import genes_readings
from genetics.notation.text import LONGEST_TEXT
from genetics.notation.writer import canonical_look, canonical_text
from tests.factories.species import SPECIES_FILES, made_up_species, species_from_file

ALL_SPECIES = [*(species_from_file(path) for path in SPECIES_FILES), made_up_species()]
every_species = pytest.mark.parametrize("species", ALL_SPECIES, ids=lambda species: species.key)
any_species = st.sampled_from(ALL_SPECIES)
chances = st.none() | st.fractions(Fraction(1, 1000), Fraction(999, 1000), max_denominator=1000)


def read_back(species, text):
    """Genes of a text of any length, clear or not at all."""
    if len(text) <= LONGEST_TEXT:
        return read_genes(species, text)
    with pytest.raises(UnreadableTextError, match="at most 500"):
        read_genes(species, text)
    (genes,) = genes_readings(species, text, {})
    return genes


def stated_from_pairs(species, pairs):
    return stated_from_genotype(genotype_of(species, pairs))


@every_species
def test_canonical_text__reads_back_for_every_genotype_at_one_locus(species):
    for locus in species.loci:
        for pair in locus.pairs:
            genes = stated_from_pairs(species, {locus.key: pair})
            assert read_genes(species, canonical_text(species, genes)) == genes


@every_species
def test_canonical_text__reads_back_for_every_pair_of_shown_genes(species):
    """Two names side by side are where names run into each other."""
    genes = [allele.name for locus in species.loci for allele in locus.alleles]
    for place, one in enumerate(genes):
        for other in genes[place + 1 :]:
            loci = {}
            for gene in (one, other):
                loci.setdefault(species.locus_of[gene].key, []).append(gene)
            copies = {
                key: alleles * 2 if len(alleles) == 1 else alleles for key, alleles in loci.items()
            }
            stated = stated_from_pairs(species, copies)
            assert read_genes(species, canonical_text(species, stated)) == stated


@cache
def genotypes(species):
    loci = st.fixed_dictionaries(
        {},
        optional={locus.key: st.sampled_from(locus.pairs) for locus in species.loci},
    )
    return loci.map(lambda pairs: stated_from_pairs(species, pairs))


@st.composite
def statements(draw, species):
    """Statements with possible hets of recessive genes beside certain ones."""
    loci = {}
    for locus in draw(st.lists(st.sampled_from(species.loci), max_size=6, unique=True)):
        recessive = [one.name for one in locus.alleles if not one.shows_in_one_copy]
        possible = (
            draw(st.lists(st.sampled_from(recessive), max_size=2, unique=True)) if recessive else []
        )
        others = [one.name for one in locus.alleles if one.name not in possible]
        room = 2 - len(possible)
        certain = draw(st.lists(st.sampled_from(others), max_size=room)) if others else []
        loci[locus.key] = StatedLocus(
            certain=tuple(certain), possible=tuple((gene, draw(chances)) for gene in possible)
        )
    return stated_genes(species, loci)


@given(st.data(), any_species)
def test_canonical_text__reads_back_for_genotypes_at_many_loci(data, species):
    genes = data.draw(genotypes(species))
    assert read_back(species, canonical_text(species, genes)) == genes


@given(st.data(), any_species)
def test_canonical_text__reads_back_with_possible_hets(data, species):
    genes = data.draw(statements(species))
    assert read_back(species, canonical_text(species, genes)) == genes


@st.composite
def keepers_words(draw, species):
    """A genotype and one of the many ways to write it, made without the writer."""
    genes = draw(genotypes(species))
    shown, hets = [], []
    for key, stated in genes.loci:
        locus = species.by_key[key]
        one, other = (*stated.certain, WILD)[:2]
        if other == WILD:
            if locus.by_name[one].shows_in_one_copy:
                shown.append(one)
            else:
                words = draw(st.sampled_from(["het", "100% het", "het for", "100 % poss het"]))
                hets.append(f"{words} {one}")
        elif one != other:
            shown.extend([one, other])
        elif locus.by_name[one].shows_in_one_copy:
            forms = ["{0} x2", "2x {0}", "homozygous {0}", "{0}, {0}", "x2 {0}"]
            shown.append(draw(st.sampled_from(forms)).format(one))
        else:
            shown.append(draw(st.sampled_from(["{0}", "visual {0}", "hom {0}"])).format(one))
    items = [*draw(st.permutations(shown)), *draw(st.permutations(hets))]
    separators = draw(
        st.lists(st.sampled_from([", ", ",", " ,  "]), min_size=len(items), max_size=len(items))
    )
    text = "".join(item + sign for item, sign in zip(items, separators, strict=True))
    blanks = draw(st.sampled_from([" ", "  ", "-", "\t", "_", "\u00a0"]))
    case = draw(st.sampled_from([str.upper, str.lower, str.title, str.swapcase]))
    return genes, case(text).replace(" ", blanks) or "normal"


@given(st.data(), any_species)
def test_read_genes__reads_any_case_order_and_separator(data, species):
    genes, text = data.draw(keepers_words(species))
    assert read_back(species, text) == genes


@every_species
def test_canonical_look__reads_back_for_every_state_and_genotype(species):
    for locus in species.loci:
        for wording, pairs in locus.states.items():
            if wording:
                look = ReadLook((LocusLook(locus.key, pairs, wording),), StatedGenes())
                assert read_look(species, canonical_look(species, look)) == look
        for pair in locus.pairs:
            text = canonical_text(species, stated_from_pairs(species, {locus.key: pair}))
            look = read_look(species, text)
            assert read_look(species, canonical_look(species, look)) == look
            assert [pair in one.pairs for one in look.looks] == [True] * bool(locus.look(pair))


@given(st.data(), any_species)
def test_canonical_look__reads_back_for_any_statement(data, species):
    """At most six loci: their texts are short enough to be read."""
    look = read_look(species, canonical_text(species, data.draw(statements(species))))
    assert read_look(species, canonical_look(species, look)) == look


@every_species
def test_read_genes__reads_every_gene_alias_and_nickname(species):
    for locus in species.loci:
        for allele in locus.alleles:
            genes = read_genes(species, allele.name)
            assert genes.genes == (allele.name,)
            for alias in allele.aliases:
                assert read_genes(species, alias) == genes


@st.composite
def near_texts(draw):
    """Text out of the species' own words, words around them, and noise."""
    species = draw(any_species)
    names = sorted(names_of(species).known_names)
    around = ["het", "hets", "for", "super", "x2", "2x", "66%", "0%", "poss", "ph", "dh", "double"]
    around += [
        "triple",
        "normal",
        "hom",
        "visual",
        "and",
        "/",
        ",",
        "+",
        "&",
        "x",
        "2",
        "%",
        "wild",
    ]
    word = st.sampled_from(names) | st.sampled_from(around) | st.text(max_size=6)
    return species, draw(st.sampled_from([" ", ", ", "/", ""])).join(
        draw(st.lists(word, max_size=12))
    )


@given(near_texts() | st.tuples(any_species, st.text()))
def test_read_genes__reads_or_refuses_any_text(case):
    """Anything but a ``GeneticsError`` would come out of here and fail the test."""
    species, text = case
    try:
        genes = read_genes(species, text, other_species={"moss": ["bog newt"]})
    except GeneticsError:
        return
    assert read_back(species, canonical_text(species, genes)) == genes


@given(near_texts() | st.tuples(any_species, st.text()))
def test_read_look__reads_or_refuses_any_text(case):
    """Anything but a ``GeneticsError`` would come out of here and fail the test."""
    species, text = case
    try:
        look = read_look(species, text)
    except GeneticsError:
        return
    assert read_look(species, canonical_look(species, look)) == look


@pytest.mark.parametrize(
    "text",
    [
        "dusk fern lake " * 33,
        "a " * 250,
        "pale fire " * 50,
        "het " * 125,
        "1" * 499 + "%",
        "/" * 500,
    ],
)
def test_read_genes__refuses_long_nonsense_quickly(text):
    species = made_up_species()
    names_of(species)
    started = time.perf_counter()
    with pytest.raises(GeneticsError):
        read_genes(species, text, other_species={"moss": ["bog newt"]})
    # Measured at some 5 ms; two seconds leave room for a busy machine and none for 2**33 ways.
    assert time.perf_counter() - started < 2
