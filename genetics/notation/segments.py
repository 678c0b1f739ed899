"""Words -> names and modifiers: the segmentation with the fewest pieces."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from genetics.errors import GeneOfAnotherSpeciesError, GeneticsError, UnknownGeneError
from genetics.notation.names import Name, NameIndex, Sense
from genetics.notation.nearest import is_part_of_a_name, nearest_names
from genetics.notation.text import Gap, Token
from genetics.notation.words import MODIFIERS, Modifier

MOST_SEGMENTATIONS = 16
"""Equally short segmentations that are followed at one place of the text."""

LONGEST_MODIFIER = max(map(len, MODIFIERS))
LONGEST_FOREIGN_NAME = 6


@dataclass(frozen=True, slots=True)
class Piece:
    """A name, a modifier or a chance; a word nobody knows is none of them."""

    words: tuple[str, ...]
    gap: Gap
    name: Name | None = None
    sense: Sense | None = None
    modifier: Modifier | None = None
    chance: Fraction | None = None

    @property
    def is_unknown(self) -> bool:
        return self.name is None and self.modifier is None and self.chance is None

    def meaning(self, sense: Sense) -> Piece:
        return replace(self, sense=sense)


@dataclass(frozen=True, slots=True)
class _Best:
    """The cheapest ways to a place: (unknown words, pieces) and the segmentations of that cost."""

    cost: tuple[int, int]
    ways: tuple[tuple[Piece, ...], ...]


def segmentations(index: NameIndex, tokens: Sequence[Token]) -> tuple[tuple[Piece, ...], ...]:
    """Every segmentation with the fewest unknown words and then the fewest pieces.

    Found by dynamic programming over the places between words; a long name thereby wins over
    the short ones inside it.
    """
    best: list[_Best | None] = [_Best(cost=(0, 0), ways=((),)), *([None] * len(tokens))]
    for start in range(len(tokens)):
        here = best[start]
        if here is None:
            continue
        for piece in _pieces_at(index, tokens, start):
            end = start + len(piece.words)
            cost = (here.cost[0] + piece.is_unknown, here.cost[1] + 1)
            ways = tuple((*way, piece) for way in here.ways)
            best[end] = _better(best[end], _Best(cost=cost, ways=ways))
    last = best[-1]
    return last.ways if last is not None else ()


def _better(known: _Best | None, found: _Best) -> _Best:
    if known is None or found.cost < known.cost:
        return found
    if found.cost > known.cost:
        return known
    return replace(known, ways=(*known.ways, *found.ways)[:MOST_SEGMENTATIONS])


def _pieces_at(index: NameIndex, tokens: Sequence[Token], start: int) -> Iterator[Piece]:
    first = tokens[start]
    if first.chance is not None:
        yield Piece(words=(first.word,), gap=first.gap, chance=first.chance)
        return
    yield Piece(words=(first.word,), gap=first.gap)
    inner = Gap.SOFT
    for size in range(1, max(index.longest, LONGEST_MODIFIER) + 1):
        if start + size > len(tokens):
            return
        if size > 1:
            inner = max(inner, tokens[start + size - 1].gap)
        words = tuple(token.word for token in tokens[start : start + size])
        name, modifier = index.by_words.get(words), MODIFIERS.get(words)
        if name is not None and (inner is Gap.SOFT or name.spans_joiners):
            yield Piece(words=words, gap=first.gap, name=name)
        if modifier is not None and inner is Gap.SOFT:
            yield Piece(words=words, gap=first.gap, modifier=modifier)


def unknown_word_error(
    *,
    index: NameIndex,
    species: str,
    pieces: Sequence[Piece],
    other_species: Mapping[str, Collection[str]],
) -> GeneticsError | None:
    """The mistake in the first stretch of words that nobody knows; ``None`` without one.

    A word that is part of a name of this species is taken for that name cut short, even if
    another species has it whole.
    """
    stretch: list[str] = []
    for piece in pieces:
        if stretch and (not piece.is_unknown or piece.gap is not Gap.SOFT):
            break
        if piece.is_unknown:
            stretch.extend(piece.words)
    if not stretch:
        return None
    word = " ".join(stretch)
    foreign = _foreign_name(stretch, other_species)
    if foreign is not None and not is_part_of_a_name(index, foreign):
        known_in = sorted(other_species[foreign])
        return GeneOfAnotherSpeciesError(word=foreign, species=species, known_in=known_in)
    return UnknownGeneError(word=word, species=species, suggestions=nearest_names(index, word))


def _foreign_name(words: Sequence[str], other: Mapping[str, Collection[str]]) -> str | None:
    for size in range(min(len(words), LONGEST_FOREIGN_NAME), 0, -1):
        for start in range(len(words) - size + 1):
            name = " ".join(words[start : start + size])
            if name in other:
                return name
    return None
