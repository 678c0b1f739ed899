"""Text as keepers write it -> an animal's genes, or a look."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from genetics.errors import AmbiguousTextError
from genetics.model.species import Species
from genetics.model.statement import StatedGenes
from genetics.notation.looks import LocusLook, ReadLook
from genetics.notation.readings import OtherSpecies, genes_readings, look_readings
from genetics.notation.text import refuse_long_text
from genetics.notation.writer import canonical_look, canonical_text

__all__ = ["LocusLook", "ReadLook", "read_genes", "read_look"]

NO_OTHER_SPECIES: Mapping[str, tuple[str, ...]] = MappingProxyType({})


def read_genes(
    species: Species, text: str, *, other_species: OtherSpecies | None = None
) -> StatedGenes:
    """An animal's genes as stated.

    Parameters
    ----------
    text
        At most 500 characters in any case. A gene named once is in the form that shows: two
        copies of a recessive, one of any other. ``het`` reaches to the next gene and those
        joined to it. The reader knows no sex: the one copy that an animal has of a recessive
        gene on its only X or Z is read as two.
    other_species
        Names in ``normal_form`` -> the other species that have them.

    Raises
    ------
    UnreadableTextError
        No gene, too long, or words in an order that means nothing.
    UnknownGeneError, GeneOfAnotherSpeciesError
        A word that names nothing in this species.
    AmbiguousTextError
        Several readings, all listed in canonical text.
    SuperOfRecessiveError, HetOfVisibleGeneError, TooManyAllelesError, ChanceOutOfRangeError,
    ContradictoryStatementError
    """
    refuse_long_text(text)
    readings = genes_readings(species, text, other_species or NO_OTHER_SPECIES)
    if len(readings) > 1:
        raise AmbiguousTextError(
            text=text, readings=[canonical_text(species, genes) for genes in readings]
        )
    return readings[0]


def read_look(
    species: Species, text: str, *, other_species: OtherSpecies | None = None
) -> ReadLook:
    """What a hatchling is called, or what is asked for.

    A bare gene is the visible state it gives, with every genotype that shows it; so is the name
    of a look that several genotypes share. Two genes of one series, or ``super``, are exactly
    that genotype. Parameters and refusals as in ``read_genes``.
    """
    refuse_long_text(text)
    readings = look_readings(species, text, other_species or NO_OTHER_SPECIES)
    if len(readings) > 1:
        raise AmbiguousTextError(
            text=text, readings=[canonical_look(species, look) for look in readings]
        )
    return readings[0]
