"""Small species and parents for Hypothesis: one to three invented loci, linked in every way."""

from __future__ import annotations

from fractions import Fraction
from itertools import combinations, pairwise

from hypothesis import strategies as st

from genetics.cross.offspring import Pairing
from genetics.model.belief import ParentStatement, Phase, belief_of
from genetics.model.linkage import Linkage
from genetics.model.locus import Allele, Compound, Locus, Mode, SexLinkage
from genetics.model.species import Sex, SexSystem, Species
from genetics.model.statement import StatedLocus, stated_genes

FRACTIONS = (Fraction(0), Fraction(3, 50), Fraction(1, 4), Fraction(1, 2))
CHANCES = (Fraction(2, 3), Fraction(1, 2), Fraction(1, 5))


@st.composite
def _loci(draw: st.DrawFn, number: int, sex_linkage: SexLinkage | None) -> Locus:
    name = ["Ash", "Bay", "Cliff"][number]
    modes = st.sampled_from(Mode)
    alleles: tuple[Allele, ...] = (Allele(name, draw(modes)),)
    compounds: tuple[Compound, ...] = ()
    if draw(st.booleans()):
        alleles = (*alleles, Allele(f"{name} Mist", draw(modes)))
        names = (alleles[0].name, alleles[1].name)
        look = draw(st.sampled_from([None, f"{name} Haze", names[0], f"Super {names[1]}"]))
        compounds = draw(st.sampled_from([(), (Compound(names, look),)]))
    return Locus(name.lower(), alleles, compounds, sex_linkage)


@st.composite
def small_species(draw: st.DrawFn, most_loci: int = 3) -> Species:
    """One to three loci: sex-linked ones, a line of linked ones, unlinked ones."""
    system = draw(st.sampled_from(SexSystem))
    n_loci = draw(st.integers(1, most_loci))
    n_sex_linked = 0 if system is SexSystem.NONE else draw(st.integers(0, min(2, n_loci)))
    loci = []
    for number in range(n_loci):
        linkage = None
        if number < n_sex_linked:
            strict = number == 0 and draw(st.booleans())
            fraction = Fraction(0) if strict else draw(st.sampled_from(FRACTIONS))
            linkage = SexLinkage(fraction, heterogametic_copy=not strict)
        loci.append(draw(_loci(number, linkage)))
    autosomal = [locus.key for locus in loci[n_sex_linked:]]
    linkages = [
        Linkage((one, other), draw(st.sampled_from(FRACTIONS)))
        for one, other in pairwise(autosomal)
        if draw(st.booleans())
    ]
    return Species("small", "small gecko", system, tuple(loci), tuple(linkages))


@st.composite
def statements(
    draw: st.DrawFn, species: Species, sex: Sex, *, sure: bool = False, origins: bool = False
) -> ParentStatement:
    """What is stated of one parent: at each locus nothing, one or two copies, possible hets.

    ``sure`` leaves possible hets out. ``origins`` adds phases and origins that may contradict each
    other; without it at most one phase is stated, of two genes in one copy each.
    """
    loci = {}
    for locus in species.loci:
        linkage = locus.sex_linkage
        single = (
            linkage is not None
            and not linkage.heterogametic_copy
            and sex is species.sex_system.heterogametic
        )
        loci[locus.key] = draw(st.sampled_from(_stated(locus, single=single, sure=sure)))
    genes = stated_genes(species, loci)
    named = genes.genes
    together = [
        (one, other)
        for one, other in combinations(named, 2)
        if species.group_of[species.locus_of[one].key]
        is species.group_of[species.locus_of[other].key]
    ]
    once = [pair for pair in together if _in_one_copy(species, loci, pair)]
    choices = together if origins else once
    phases = (
        draw(st.lists(st.sampled_from(choices), max_size=2 if origins else 1, unique=True))
        if choices
        else []
    )
    statement = ParentStatement(
        genes=genes, sex=sex, phases=tuple(Phase(pair, draw(st.booleans())) for pair in phases)
    )
    if not origins:
        return statement
    sex_linked = [gene for gene in named if species.locus_of[gene].sex_linkage is not None]
    placed = draw(st.lists(st.sampled_from(sex_linked), max_size=1)) if sex_linked else []
    inherited = draw(st.lists(st.sampled_from(named), max_size=1)) if named else []
    return ParentStatement(
        genes=genes,
        sex=sex,
        phases=statement.phases,
        on_chromosome=tuple(
            (gene, draw(st.sampled_from(species.sex_system.value))) for gene in placed
        ),
        inherited_from=tuple((gene, draw(st.sampled_from(["sire", "dam"]))) for gene in inherited),
    )


def _stated(locus: Locus, *, single: bool, sure: bool) -> list[StatedLocus]:
    names = [allele.name for allele in locus.alleles]
    found = [StatedLocus()]
    for allele in locus.alleles:
        name = allele.name
        if single:
            copies = (name,) if allele.shows_in_one_copy else (name, name)
            found.append(StatedLocus(copies))
            maybe = allele.shows_in_one_copy
        else:
            found += [StatedLocus((name,)), StatedLocus((name, name))]
            maybe = True
        if maybe and not sure:
            found += [StatedLocus((), ((name, chance),)) for chance in CHANCES]
    if len(names) > 1 and not single:
        found.append(StatedLocus((names[0], names[1])))
        if not sure:
            found.append(StatedLocus((names[0],), ((names[1], CHANCES[0]),)))
    return found


def _in_one_copy(species: Species, loci: dict[str, StatedLocus], pair: tuple[str, str]) -> bool:
    """Whether two genes of different loci are there once each, beside the wild type."""
    keys = [species.locus_of[gene].key for gene in pair]
    return keys[0] != keys[1] and all(
        loci[key].alleles == (gene,) and _may_lie_either_way(species, key)
        for key, gene in zip(keys, pair, strict=True)
    )


def _may_lie_either_way(species: Species, key: str) -> bool:
    return key not in species.group_of[key].without_copy


@st.composite
def parents(
    draw: st.DrawFn, *, most_loci: int = 3, sure: bool = False
) -> tuple[Species, ParentStatement, ParentStatement]:
    """A small species with what is stated of a sire and a dam."""
    species = draw(small_species(most_loci))
    return (
        species,
        draw(statements(species, Sex.MALE, sure=sure)),
        draw(statements(species, Sex.FEMALE, sure=sure)),
    )


@st.composite
def pairings(draw: st.DrawFn, *, most_loci: int = 3, sure: bool = False) -> Pairing:
    """Two parents of a small species."""
    species, sire, dam = draw(parents(most_loci=most_loci, sure=sure))
    return Pairing(species, belief_of(species, sire), belief_of(species, dam))


def pairing_of(species: Species, sire: str, dam: str) -> Pairing:
    """Two parents from words: genes with commas; ``2 X`` two copies, ``X? 2/3`` a possible het."""
    return Pairing(
        species,
        belief_of(species, stated(species, sire, Sex.MALE)),
        belief_of(species, stated(species, dam, Sex.FEMALE)),
    )


def stated(species: Species, text: str, sex: Sex, **said: object) -> ParentStatement:
    """What ``text`` states of one parent; ``said`` are fields of ``ParentStatement``.

    Genes with commas: ``Ash`` one copy, ``2 Ash`` two, ``Ash? 2/3`` a possible het. Not the
    notation of the service, so that its reader is not needed here.
    """
    certain: dict[str, list[str]] = {}
    possible: dict[str, list[tuple[str, Fraction | None]]] = {}
    for part in filter(None, text.split(", ")):
        gene, asked, chance = part.partition("? ")
        copies = 2 if gene.startswith("2 ") else 1
        gene = gene.removeprefix("2 ")
        key = species.locus_of[gene].key
        if asked:
            possible.setdefault(key, []).append((gene, Fraction(chance)))
        else:
            certain.setdefault(key, []).extend([gene] * copies)
    loci = {
        locus.key: StatedLocus(
            tuple(certain.get(locus.key, ())), tuple(possible.get(locus.key, ()))
        )
        for locus in species.loci
    }
    return ParentStatement(genes=stated_genes(species, loci), sex=sex, **said)  # type: ignore[arg-type]
