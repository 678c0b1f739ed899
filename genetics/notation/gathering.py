"""Mentions sorted by locus, and the statement of an animal's genes they make."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from fractions import Fraction

from genetics.errors import (
    ContradictoryStatementError,
    SuperOfRecessiveError,
    TooManyAllelesError,
    UnreadableTextError,
)
from genetics.model.locus import WILD, WILD_LOOK, AllelePair, Locus
from genetics.model.species import Species
from genetics.model.statement import COPIES, StatedGenes, StatedLocus, stated_genes
from genetics.notation.grammar import Mention, Mentions
from genetics.notation.prefix import CERTAIN, Form


@dataclass(slots=True)
class LocusMentions:
    """What a text says at one locus: alleles in the order and number of their mention.

    ``states`` are wordings of visible states that several genotypes share; only looks have them.
    """

    shown: list[str] = field(default_factory=list)
    hets: list[str] = field(default_factory=list)
    possible: list[tuple[str, Fraction | None]] = field(default_factory=list)
    states: list[str] = field(default_factory=list)

    @property
    def certain(self) -> list[str]:
        return [*self.shown, *self.hets]


def gathered(species: Species, mentions: Iterable[Mention]) -> dict[str, LocusMentions]:
    """Mentions by locus key, each gene checked against its form.

    Raises
    ------
    SuperOfRecessiveError, UnreadableTextError
        ``super`` or ``x2`` at a recessive gene, or at a name that is not one gene.
    ContradictoryStatementError
        One gene in two forms.
    """
    found: dict[str, LocusMentions] = {}
    for mention in mentions:
        if mention.sense.state is not None:
            if mention.form is not Form.SHOWN:
                raise _not_one_gene(mention)
            key, wording = mention.sense.state
            found.setdefault(key, LocusMentions()).states.append(wording)
            continue
        for gene in mention.sense.genes:
            here = found.setdefault(species.locus_of[gene].key, LocusMentions())
            if mention.form is not Form.HET:
                here.shown.extend([gene] * _copies(species, mention, gene))
            elif mention.chance == CERTAIN:
                here.hets.append(gene)
            else:
                here.possible.append((gene, mention.chance))
    for here in found.values():
        _refuse_two_forms(here)
    return found


def _copies(species: Species, mention: Mention, gene: str) -> int:
    """How many mentions of ``gene`` this one is worth."""
    if mention.form is Form.SHOWN:
        return 1
    genes, is_recessive = mention.sense.genes, mention.sense.is_recessive
    if len(genes) > 1 and not (mention.form is Form.HOMOZYGOUS and is_recessive):
        raise _not_one_gene(mention)
    if mention.form is Form.SUPER and not species.allele(gene).shows_in_one_copy:
        raise SuperOfRecessiveError(gene=gene)
    return COPIES


def _not_one_gene(mention: Mention) -> UnreadableTextError:
    genes, wording = mention.sense.genes, mention.wording
    if len(set(genes)) == 1:
        message = f"{wording} already has two copies of {genes[0]}: leave out 'super' or 'x2'."
    else:
        message = f"Two copies can be stated of one gene, not of {wording}: write out its genes."
    return UnreadableTextError(message, word=wording)


def _refuse_two_forms(here: LocusMentions) -> None:
    for gene in here.hets:
        if gene in here.shown:
            raise ContradictoryStatementError(
                f"{gene} is stated as shown and as het at once.", gene=gene
            )
        if here.hets.count(gene) > 1:
            raise ContradictoryStatementError(f"het {gene} is stated twice.", gene=gene)
    for gene, _chance in here.possible:
        if gene in here.certain:
            raise ContradictoryStatementError(
                f"{gene} is stated as certain and as possible at once.", gene=gene
            )


def certain_alleles(locus: Locus, here: LocusMentions) -> tuple[str, ...]:
    """The alleles an animal has at a locus by these mentions.

    A recessive gene shown alone has two copies, named once or twice; beside another gene of its
    series each mention is one copy.
    """
    alleles = here.certain
    if len(here.shown) == 1 and not here.hets and _is_recessive(locus, here.shown[0]):
        return (here.shown[0], here.shown[0])
    if len(alleles) > COPIES:
        raise TooManyAllelesError(locus=locus.key, genes=alleles)
    return tuple(alleles)


def _is_recessive(locus: Locus, gene: str) -> bool:
    return not locus.by_name[gene].shows_in_one_copy


def pair_of(locus: Locus, alleles: tuple[str, ...]) -> AllelePair:
    """Genotype of up to two certain alleles, the rest wild type."""
    one, other = (*alleles, WILD, WILD)[:COPIES]
    return locus.pair(one, other)


def statement_of(species: Species, read: Mentions) -> StatedGenes:
    """The statement of an animal's genes; refusals as in ``gathered`` and ``stated_genes``."""
    loci = {}
    for key, here in gathered(species, read.mentions).items():
        locus = species.by_key[key]
        certain = certain_alleles(locus, here)
        if read.says_normal and locus.look(pair_of(locus, certain)) != WILD_LOOK:
            raise shown_and_normal(locus.look(pair_of(locus, certain)))
        loci[key] = StatedLocus(certain=certain, possible=tuple(here.possible))
    return stated_genes(species, loci)


def shown_and_normal(look: str) -> ContradictoryStatementError:
    """The mistake of calling an animal normal that shows something."""
    return ContradictoryStatementError(
        f"A normal animal shows no gene, but {look} shows. Leave out one of the two.", look=look
    )
