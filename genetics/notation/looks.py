"""What a hatchling is called, or what is asked for: a visible state a locus, and hets."""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

from genetics.errors import ContradictoryStatementError, TooManyAllelesError
from genetics.model.locus import WILD, AllelePair, Locus
from genetics.model.species import Species
from genetics.model.statement import COPIES, StatedGenes, StatedLocus, stated_genes
from genetics.notation.gathering import LocusMentions, gathered, shown_and_normal
from genetics.notation.grammar import Mentions


class LocusLook(NamedTuple):
    """A visible state at one locus: the genotypes it accepts and its wording.

    All genotypes of a state of ``Locus.states`` under its wording; or the one genotype that was
    named by its genes, where the state is shared with others.
    """

    locus: str
    pairs: frozenset[AllelePair]
    wording: str


@dataclass(frozen=True, slots=True)
class ReadLook:
    """Visible states in the order of the species file, and the hets stated besides.

    A locus that is not in ``looks`` shows nothing, as the text has it.
    """

    looks: tuple[LocusLook, ...]
    hets: StatedGenes


def genes_wording(pair: AllelePair) -> str:
    """Wording of a two-gene genotype by its genes: ``Lesser Mojave``, ``Super Lesser``."""
    one, other = pair
    return f"Super {one}" if one == other else f"{one} {other}"


def look_of(species: Species, read: Mentions) -> ReadLook:
    """The look that mentions make; refusals as in ``gathered``.

    Raises
    ------
    ContradictoryStatementError
        A shared state beside anything else of its locus, or a look called normal.
    """
    looks, hets = {}, {}
    for key, here in gathered(species, read.mentions).items():
        locus = species.by_key[key]
        seen = _seen(locus, here)
        if seen is not None:
            looks[key] = seen
        certain = tuple(here.hets) if seen is None else ()
        hets[key] = StatedLocus(certain=certain, possible=tuple(here.possible))
    ordered = tuple(sorted(looks.values(), key=lambda look: species.place_of[look.locus]))
    if read.says_normal and ordered:
        raise shown_and_normal(ordered[0].wording)
    return ReadLook(looks=ordered, hets=stated_genes(species, hets))


def _seen(locus: Locus, here: LocusMentions) -> LocusLook | None:
    """What shows at a locus; ``None`` if only hets are stated there."""
    if here.states:
        return _shared(locus, here)
    alleles = here.certain
    if len(alleles) > COPIES:
        raise TooManyAllelesError(locus=locus.key, genes=alleles)
    if not here.shown and len(here.hets) < COPIES:
        return None
    allele = locus.by_name[alleles[0]]
    if len(set(alleles)) == 1 and not allele.shows_in_one_copy:
        return _state(locus, (allele.name, allele.name))
    if len(alleles) == 1:
        return _state(locus, (allele.name, WILD))
    return _exactly(locus, locus.pair(*alleles))


def _shared(locus: Locus, here: LocusMentions) -> LocusLook:
    wording = here.states[0]
    others = [*here.states[1:], *here.certain, *(gene for gene, _chance in here.possible)]
    if others:
        raise ContradictoryStatementError(
            f"{wording} already says which alleles show at the locus {locus.key}; "
            f"{others[0]} can not stand beside it.",
            locus=locus.key,
            genes=[wording, *others],
        )
    return LocusLook(locus=locus.key, pairs=locus.states[wording], wording=wording)


def _state(locus: Locus, pair: AllelePair) -> LocusLook:
    wording = locus.look(pair)
    return LocusLook(locus=locus.key, pairs=locus.states[wording], wording=wording)


def _exactly(locus: Locus, pair: AllelePair) -> LocusLook:
    state = _state(locus, pair)
    if len(state.pairs) == 1:
        return state
    return LocusLook(locus=locus.key, pairs=frozenset([pair]), wording=genes_wording(pair))
