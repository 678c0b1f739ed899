"""What a parent may really carry: a distribution over haplotype pairs for every linkage group."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import lru_cache
from itertools import product
from typing import TYPE_CHECKING, Literal

from genetics.errors import (
    ContradictoryStatementError,
    PossibleHetNeedsNumberError,
    TooManyAllelesError,
)
from genetics.model.locus import ABSENT, WILD, AllelePair
from genetics.model.species import Sex, Species
from genetics.model.statement import StatedGenes, StatedLocus

if TYPE_CHECKING:
    from genetics.model.linkage import LinkageGroup

Haplotype = tuple[str, ...]
"""Alleles along one chromosome in the order of the group; in the sex group the chromosome's
letter stands in front."""

HaplotypePair = tuple[Haplotype, Haplotype]
"""The two haplotypes of a parent, in sorted order: which of them came from where is forgotten."""

Parent = Literal["sire", "dam"]


@dataclass(frozen=True, slots=True)
class Phase:
    """Two genes of one linkage group: on the same chromosome (coupling) or on the two of a pair."""

    genes: tuple[str, str]
    coupling: bool


@dataclass(frozen=True, slots=True)
class ParentStatement:
    """Everything stated of one parent.

    ``unproven`` names stated genes that no breeding has shown yet. ``phases``, ``on_chromosome``
    (gene, letter of its sex chromosome) and ``inherited_from`` (gene, the animal's own sire or
    dam) say on which chromosome the alleles sit; where nothing is said every arrangement is
    equally likely.
    """

    genes: StatedGenes
    sex: Sex
    unproven: tuple[str, ...] = ()
    phases: tuple[Phase, ...] = ()
    on_chromosome: tuple[tuple[str, str], ...] = ()
    inherited_from: tuple[tuple[str, Parent], ...] = ()

    def restricted_to(self, species: Species, loci: Iterable[str]) -> ParentStatement:
        """The part of the statement that bears on these loci.

        That is what is said of them, and of loci by way of which their phase follows.
        """
        wanted = _bearing_on(species, self, frozenset(loci))
        genes = {gene for gene in self.genes.genes if species.locus_of[gene].key in wanted}
        return replace(
            self,
            genes=StatedGenes(loci=tuple(item for item in self.genes.loci if item[0] in wanted)),
            unproven=tuple(gene for gene in self.unproven if gene in genes),
            phases=tuple(phase for phase in self.phases if genes.issuperset(phase.genes)),
            on_chromosome=tuple(item for item in self.on_chromosome if item[0] in genes),
            inherited_from=tuple(item for item in self.inherited_from if item[0] in genes),
        )


def _bearing_on(
    species: Species, parent: ParentStatement, wanted: frozenset[str]
) -> frozenset[str]:
    """These loci and those through which a chain of stated phases ties them.

    A chain runs between two of the loci, or from one of them to a gene whose chromosome or origin
    is stated. A locus at a loose end of a chain says nothing of the others.
    """
    phases = [{species.locus_of[gene].key for gene in phase.genes} for phase in parent.phases]
    placed = {
        species.locus_of[gene].key
        for gene, _where in (*parent.on_chromosome, *parent.inherited_from)
    }
    kept = set(wanted)
    while reached := {key for pair in phases if pair & kept for key in pair} - kept:
        kept |= reached
    while loose := {
        key
        for key in kept - wanted
        if len({other for pair in phases if key in pair for other in pair & kept} - {key})
        + (key in placed)
        < 2  # noqa: PLR2004 - a chain that goes on has two sides
    }:
        kept -= loose
    return frozenset(kept)


@dataclass(frozen=True, slots=True)
class Belief:
    """Haplotype pairs of a parent with their chances, for each linkage group that is not plain.

    The chances of one group sum to 1; groups are independent of each other. Groups that are not
    listed are wild type throughout.
    """

    sex: Sex
    groups: tuple[tuple[LinkageGroup, tuple[tuple[HaplotypePair, Fraction], ...]], ...]

    def states(
        self, species: Species, group: LinkageGroup
    ) -> tuple[tuple[HaplotypePair, Fraction], ...]:
        """Haplotype pairs of this group with their chances."""
        for known, states in self.groups:
            if known is group or known == group:
                return states
        return ((_wild_pair(species, group, self.sex), Fraction(1)),)


@lru_cache(maxsize=16384)
def belief_of(
    species: Species, parent: ParentStatement, *, unproven_chance: Fraction | None = None
) -> Belief:
    """The distribution that a statement describes.

    Parameters
    ----------
    unproven_chance
        Chance that an unproven gene is there at all. ``None`` takes unproven genes as stated.

    Raises
    ------
    PossibleHetNeedsNumberError
        A possible het without its chance.
    TooManyAllelesError
        Two alleles, or a super form, where the sex has one copy only.
    ContradictoryStatementError
        A het of a gene of which the animal has a single copy, a phase that no arrangement of the
        stated alleles has, or an unproven gene or phase that is not among the stated genes.
    """
    _check_named_genes(species, parent)
    found = []
    for group in species.groups:
        if not any(parent.genes.at(key).alleles for key in group.loci):
            continue
        states: dict[HaplotypePair, Fraction] = {}
        for pairs, chance in _genotypes(species, group, parent, unproven_chance):
            arrangements = _arrangements(species, group, parent, pairs)
            for haplotypes in arrangements:
                states[haplotypes] = states.get(haplotypes, Fraction(0)) + chance / len(
                    arrangements
                )
        found.append((group, tuple(sorted(states.items()))))
    return Belief(sex=parent.sex, groups=tuple(found))


def _check_named_genes(species: Species, parent: ParentStatement) -> None:
    stated = set(parent.genes.genes)
    placed = [gene for gene, _where in (*parent.on_chromosome, *parent.inherited_from)]
    for gene in (*parent.unproven, *(g for phase in parent.phases for g in phase.genes), *placed):
        if gene not in stated:
            raise ContradictoryStatementError(
                f"{gene} is given a phase, an origin or as unproven, but is not among the genes "
                "stated of this animal.",
                gene=gene,
            )
    for phase in parent.phases:
        groups = [species.group_of[species.locus_of[gene].key] for gene in phase.genes]
        if groups[0] is not groups[1] or phase.genes[0] == phase.genes[1]:
            raise ContradictoryStatementError(
                f"{phase.genes[0]} and {phase.genes[1]} are not two genes of one linkage group "
                "in the catalogue, so they have no phase.",
                genes=list(phase.genes),
            )
    letters = set("XY" if species.sex_system == "XY" else "ZW")
    for gene, letter in parent.on_chromosome:
        if species.locus_of[gene].sex_linkage is None or letter not in letters:
            raise ContradictoryStatementError(
                f"{gene} can not be said to sit on {letter}: that needs a sex-linked gene and one "
                "of the species' own sex chromosomes.",
                gene=gene,
            )


def _genotypes(
    species: Species,
    group: LinkageGroup,
    parent: ParentStatement,
    unproven_chance: Fraction | None,
) -> Iterator[tuple[tuple[AllelePair, ...], Fraction]]:
    """Genotypes at the loci of a group, with their chances."""
    single = group.without_copy if parent.sex is species.sex_system.heterogametic else frozenset()
    per_locus = []
    for key in group.loci:
        choices = _locus_choices(
            parent.genes.at(key),
            unproven={gene for gene in parent.unproven if unproven_chance is not None},
            unproven_chance=Fraction(1) if unproven_chance is None else unproven_chance,
        )
        locus = species.by_key[key]
        pairs: dict[AllelePair, Fraction] = {}
        for alleles, chance in choices.items():
            if key in single:
                pair = _single_copy(species, key, alleles)
            else:
                one, other = (*alleles, WILD, WILD)[:2]
                pair = locus.pair(one, other)
            pairs[pair] = pairs.get(pair, Fraction(0)) + chance
        per_locus.append(tuple(pairs.items()))
    for combination in product(*per_locus):
        chance = Fraction(1)
        for _pair, one_chance in combination:
            chance *= one_chance
        yield tuple(pair for pair, _chance in combination), chance


def _locus_choices(
    stated: StatedLocus, *, unproven: set[str], unproven_chance: Fraction
) -> Mapping[tuple[str, ...], Fraction]:
    """Alleles other than wild type that the animal may have here -> chance."""
    doubtful = [
        (allele, unproven_chance) for allele in dict.fromkeys(stated.certain) if allele in unproven
    ]
    choices: dict[tuple[str, ...], Fraction] = {stated.certain: Fraction(1)}
    for allele, chance in doubtful:
        choices = {
            kept: weight
            for alleles, old in choices.items()
            for kept, weight in (
                (alleles, old * chance),
                (tuple(one for one in alleles if one != allele), old * (1 - chance)),
            )
            if weight
        }
    for allele, possible in stated.possible:
        if possible is None:
            raise PossibleHetNeedsNumberError(gene=allele)
        choices = {
            kept: weight
            for alleles, old in choices.items()
            for kept, weight in (
                ((*alleles, allele), old * possible),
                (alleles, old * (1 - possible)),
            )
        }
    return choices


def _single_copy(species: Species, key: str, alleles: tuple[str, ...]) -> AllelePair:
    """The one allele at a locus of which this sex has a single copy.

    A recessive gene that shows is stated as two copies, which here means the one.
    """
    kinds = tuple(dict.fromkeys(alleles))
    if not kinds:
        return (WILD, ABSENT)
    shows_in_one_copy = species.allele(kinds[0]).shows_in_one_copy
    if len(kinds) > 1 or (len(alleles) > 1 and shows_in_one_copy):
        raise TooManyAllelesError(locus=key, genes=alleles, most=1)
    if len(alleles) == 1 and not shows_in_one_copy:
        raise ContradictoryStatementError(
            f"{kinds[0]} is sex-linked and this sex has a single copy of it, which shows: the "
            "animal can not be het for it.",
            gene=kinds[0],
        )
    return (kinds[0], ABSENT)


def _arrangements(
    species: Species,
    group: LinkageGroup,
    parent: ParentStatement,
    pairs: tuple[AllelePair, ...],
) -> list[HaplotypePair]:
    """Every way to lay the alleles on the two chromosomes that fits what is stated.

    A haplotype pair appears as often as there are ways to come by it, so that equal weights over
    the list are equal weights over origins from sire and dam.
    """
    letters: tuple[tuple[str], tuple[str]] | tuple[tuple[()], tuple[()]] = ((), ())
    if group.is_sex_group:
        from_sire, from_dam = species.sex_system.chromosomes(parent.sex)
        letters = ((from_sire,), (from_dam,))
    orders = [{pair, pair[::-1]} for pair in pairs]
    fitting = []
    for chosen in product(*orders):
        paternal = (*letters[0], *(pair[0] for pair in chosen))
        maternal = (*letters[1], *(pair[1] for pair in chosen))
        if _fits(species, group, parent, paternal, maternal):
            one, other = sorted((paternal, maternal))
            fitting.append((one, other))
    if not fitting:
        raise ContradictoryStatementError(
            "The phases and origins stated for "
            f"{', '.join(parent.genes.genes)} can not all hold in one animal.",
            genes=list(parent.genes.genes),
        )
    return fitting


def _fits(
    species: Species,
    group: LinkageGroup,
    parent: ParentStatement,
    paternal: Haplotype,
    maternal: Haplotype,
) -> bool:
    shift = 1 if group.is_sex_group else 0
    place = {key: position + shift for position, key in enumerate(group.loci)}

    def has(haplotype: Haplotype, gene: str) -> bool:
        position = place.get(species.locus_of[gene].key)
        return position is not None and haplotype[position] == gene

    if shift and not _copies_missing_only_where_due(group, place, paternal, maternal):
        return False
    haplotypes = (paternal, maternal)
    for phase in parent.phases:
        one, other = phase.genes
        present = all(any(has(haplotype, gene) for haplotype in haplotypes) for gene in phase.genes)
        together = any(has(haplotype, one) and has(haplotype, other) for haplotype in haplotypes)
        if present and together is not phase.coupling:
            return False
    for gene, letter in parent.on_chromosome:
        holders = [haplotype for haplotype in haplotypes if has(haplotype, gene)]
        if holders and letter not in {haplotype[0] for haplotype in holders}:
            return False
    for gene, origin in parent.inherited_from:
        if any(has(haplotype, gene) for haplotype in haplotypes) and not has(
            paternal if origin == "sire" else maternal, gene
        ):
            return False
    return True


def _copies_missing_only_where_due(
    group: LinkageGroup, place: Mapping[str, int], paternal: Haplotype, maternal: Haplotype
) -> bool:
    """Whether a missing copy sits on the Y or W, and nowhere else."""
    return all(
        (haplotype[place[key]] == ABSENT) == (key in group.without_copy and haplotype[0] in "YW")
        for haplotype in (paternal, maternal)
        for key in group.loci
    )


def _wild_pair(species: Species, group: LinkageGroup, sex: Sex) -> HaplotypePair:
    if not group.is_sex_group:
        wild = (WILD,) * len(group.loci)
        return (wild, wild)
    one, other = sorted(
        (
            letter,
            *(
                ABSENT if key in group.without_copy and letter in "YW" else WILD
                for key in group.loci
            ),
        )
        for letter in species.sex_system.chromosomes(sex)
    )
    return (one, other)
