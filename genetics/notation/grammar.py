"""Names and modifiers -> mentions: which gene is stated in which form."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import Enum, auto
from fractions import Fraction

from genetics.errors import (
    AmbiguousTextError,
    HetOfVisibleGeneError,
    UnreadableTextError,
)
from genetics.notation.names import Sense
from genetics.notation.prefix import CERTAIN, Form, Prefix
from genetics.notation.segments import Piece
from genetics.notation.text import Gap
from genetics.notation.words import Modifier

_TWICE = {Modifier.TWICE, Modifier.TIMES_TWO}


@dataclass(frozen=True, slots=True)
class Mention:
    """A name in its form. ``chance`` belongs to a het: 1 if certain, ``None`` without a number."""

    wording: str
    sense: Sense
    form: Form
    chance: Fraction | None = CERTAIN


@dataclass(frozen=True, slots=True)
class Mentions:
    """All mentions of a text, and whether it says ``normal``.

    ``has_open_het`` tells that a recessive gene stands behind a het gene without a word of its
    own, so that it can be meant either way.
    """

    mentions: tuple[Mention, ...]
    says_normal: bool
    has_open_het: bool


class _Reach(Enum):
    """How far the last ``het`` reaches: nowhere, to joined genes, over a list, or in doubt."""

    NONE = auto()
    JOINED = auto()
    LIST = auto()
    IN_DOUBT = auto()


def mentions_of(pieces: Sequence[Piece], *, open_het_runs_on: bool) -> Mentions:
    """Mentions of pieces whose names have their meaning chosen.

    ``open_het_runs_on`` says which way a recessive gene behind a het gene is taken: as het too,
    or as shown.

    Raises
    ------
    UnreadableTextError
        Words in an order that means nothing.
    HetOfVisibleGeneError
        ``het`` before a gene that shows in one copy.
    AmbiguousTextError
        ``het`` before the name of a compound of recessive genes.
    """
    grammar = _Grammar(pieces, open_het_runs_on=open_het_runs_on)
    grammar.read()
    return Mentions(
        mentions=tuple(grammar.mentions),
        says_normal=grammar.says_normal,
        has_open_het=grammar.has_open_het,
    )


class _Grammar:
    """Reads pieces from left to right."""

    def __init__(self, pieces: Sequence[Piece], *, open_het_runs_on: bool) -> None:
        self.pieces = pieces
        self.open_het_runs_on = open_het_runs_on
        self.mentions: list[Mention] = []
        self.says_normal = False
        self.has_open_het = False
        self.prefix = Prefix()
        self.reach = _Reach.NONE
        self.chance: Fraction | None = CERTAIN
        self.n_missing = 0

    def read(self) -> None:
        for place, piece in enumerate(self.pieces):
            if piece.sense is not None:
                self._name(piece, piece.sense)
                self.prefix = Prefix()
            elif piece.modifier is Modifier.WILD_TYPE:
                self._refuse_open_words()
                self.says_normal, self.reach = True, _Reach.NONE
            elif piece.modifier in _TWICE and self._stands_behind_its_name(place):
                self._double_last(piece)
            else:
                self.prefix.add(piece)
        self._refuse_open_words()

    def _refuse_open_words(self) -> None:
        if self.prefix.words:
            words = " ".join(self.prefix.words)
            raise UnreadableTextError(f"{words!r} has no gene behind it.", word=words)
        if self.n_missing:
            raise UnreadableTextError(
                f"A double het needs exactly two genes and a triple het three: "
                f"{self.n_missing} too few.",
                n_missing=self.n_missing,
            )

    def _stands_behind_its_name(self, place: int) -> bool:
        """``pastel x2`` always; ``pastel 2x`` only if no gene follows in the same breath."""
        before = self.pieces[place - 1] if place else None
        if before is None or before.sense is None or self.pieces[place].gap is Gap.HARD:
            return False
        behind = self.pieces[place + 1 : place + 2]
        return self.pieces[place].modifier is Modifier.TIMES_TWO or not (
            behind and behind[0].gap is Gap.SOFT
        )

    def _double_last(self, piece: Piece) -> None:
        last = self.mentions[-1]
        if last.form is not Form.SHOWN:
            raise UnreadableTextError(
                f"{' '.join(piece.words)!r} behind {last.wording} contradicts the words before it.",
                word=last.wording,
            )
        self.mentions[-1] = replace(last, form=Form.SUPER)

    def _name(self, piece: Piece, sense: Sense) -> None:
        prefix = self.prefix
        if prefix.words:
            self._name_with_words(piece, sense)
        elif self.n_missing:
            self._het(piece, sense)
        elif sense.is_recessive and self.reach is not _Reach.NONE:
            self._behind_a_het(piece, sense)
        else:
            self._add(piece, sense, Form.SHOWN)
            is_list = self.reach in {_Reach.LIST, _Reach.IN_DOUBT}
            self.reach = _Reach.IN_DOUBT if is_list else _Reach.NONE

    def _name_with_words(self, piece: Piece, sense: Sense) -> None:
        prefix, words = self.prefix, " ".join(self.prefix.words)
        if self.n_missing:
            self.prefix = Prefix()
            self._refuse_open_words()
        if prefix.is_het and prefix.form is not None:
            raise UnreadableTextError(
                f"{words!r} before {_wording(piece)} states one copy and another form at once.",
                word=words,
            )
        if prefix.is_het:
            self.chance = prefix.het_chance
            self.reach = _Reach.LIST if prefix.is_list else _Reach.JOINED
            self.n_missing = prefix.n_genes
            self._het(piece, sense)
            return
        if prefix.needs_het:
            self._refuse_missing_het(piece, sense)
        self._add(piece, sense, prefix.form or Form.SHOWN)
        self.reach = _Reach.NONE

    def _refuse_missing_het(self, piece: Piece, sense: Sense) -> None:
        """``66% clown``; but a gene that the trade calls ``Het Something`` can be 100 % so."""
        words = " ".join(self.prefix.words)
        if piece.words[0] != "het":
            raise UnreadableTextError(
                f"{words!r} needs the word 'het' before {_wording(piece)}.", word=words
            )
        if self.prefix.het_chance != CERTAIN:
            raise HetOfVisibleGeneError(gene=sense.visible_genes[0])

    def _behind_a_het(self, piece: Piece, sense: Sense) -> None:
        is_joined = self.reach is _Reach.JOINED and piece.gap is Gap.JOINER
        if self.reach is _Reach.LIST or is_joined:
            self._het(piece, sense)
            return
        self.has_open_het = True
        if self.open_het_runs_on:
            self._het(piece, sense)
        else:
            self._add(piece, sense, Form.SHOWN)
            self.reach = _Reach.NONE

    def _het(self, piece: Piece, sense: Sense) -> None:
        if not sense.is_recessive:
            raise HetOfVisibleGeneError(gene=sense.visible_genes[0])
        if sense.is_series:
            raise AmbiguousTextError(
                text=f"het {_wording(piece)}", readings=[f"het {gene}" for gene in sense.genes]
            )
        self._add(piece, sense, Form.HET)
        if self.n_missing:
            n_genes = len(set(sense.genes))
            if n_genes > self.n_missing:
                raise UnreadableTextError(
                    f"A double het needs exactly two genes and a triple het three; "
                    f"{_wording(piece)} makes {n_genes - self.n_missing} too many.",
                    word=_wording(piece),
                )
            self.n_missing -= n_genes
            self.reach = _Reach.IN_DOUBT

    def _add(self, piece: Piece, sense: Sense, form: Form) -> None:
        chance = self.chance if form is Form.HET else CERTAIN
        self.mentions.append(
            Mention(wording=_wording(piece), sense=sense, form=form, chance=chance)
        )


def _wording(piece: Piece) -> str:
    return piece.name.wording if piece.name is not None else " ".join(piece.words)
