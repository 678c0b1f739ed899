"""All readings of a text: one if it is clear, several if it is ambiguous."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator, Mapping
from itertools import islice, product
from typing import TypeVar

from genetics.errors import GeneticsError, UnreadableTextError
from genetics.model.species import Species
from genetics.model.statement import StatedGenes
from genetics.notation.gathering import statement_of
from genetics.notation.grammar import Mentions, mentions_of
from genetics.notation.looks import ReadLook, look_of
from genetics.notation.names import Name, Sense, names_of
from genetics.notation.segments import Piece, segmentations, unknown_word_error
from genetics.notation.text import readable_tokens

MOST_CHOICES = 64
"""Combinations of meanings that are followed; a text with more is ambiguous long before."""

OtherSpecies = Mapping[str, Collection[str]]
"""Name in ``normal_form`` -> names of the species that have it."""

Read = TypeVar("Read")


def genes_readings(
    species: Species, text: str, other_species: OtherSpecies
) -> tuple[StatedGenes, ...]:
    """Different statements of an animal's genes that a text can make, at least one."""
    return _readings(
        species, text, other_species, senses=lambda name: name.senses, build=statement_of
    )


def look_readings(species: Species, text: str, other_species: OtherSpecies) -> tuple[ReadLook, ...]:
    """Different looks that a text can mean, at least one."""
    return _readings(
        species, text, other_species, senses=lambda name: name.look_senses, build=look_of
    )


def _readings(
    species: Species,
    text: str,
    other_species: OtherSpecies,
    *,
    senses: Callable[[Name], tuple[Sense, ...]],
    build: Callable[[Species, Mentions], Read],
) -> tuple[Read, ...]:
    """Readings of a text: a choice that leads to a mistake counts only if every choice does."""
    found: list[Read] = []
    first_mistake: GeneticsError | None = None
    for pieces in islice(_meant_pieces(species, text, other_species, senses), MOST_CHOICES):
        for open_het_runs_on in (False, True):
            try:
                mentions = mentions_of(pieces, open_het_runs_on=open_het_runs_on)
                if open_het_runs_on and not mentions.has_open_het:
                    break
                reading = build(species, mentions)
            except GeneticsError as mistake:
                first_mistake = first_mistake or mistake
                continue
            if reading not in found:
                found.append(reading)
    if not found:
        raise first_mistake or UnreadableTextError("The text can not be read.", text=text)
    return tuple(found)


def _meant_pieces(
    species: Species,
    text: str,
    other_species: OtherSpecies,
    senses: Callable[[Name], tuple[Sense, ...]],
) -> Iterator[tuple[Piece, ...]]:
    """Segmentations with one meaning chosen for each name, in every way."""
    index = names_of(species)
    for pieces in segmentations(index, readable_tokens(text)):
        mistake = unknown_word_error(
            index=index, species=species.name, pieces=pieces, other_species=other_species
        )
        if mistake is not None:
            raise mistake
        choices = [_choices(piece, senses) for piece in pieces]
        yield from product(*choices)


def _choices(piece: Piece, senses: Callable[[Name], tuple[Sense, ...]]) -> list[Piece]:
    if piece.name is None:
        return [piece]
    return [piece.meaning(sense) for sense in senses(piece.name)]
