"""The words in front of a name: het, its chance and reach, super and their like."""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import Enum, auto
from fractions import Fraction

from genetics.errors import UnreadableTextError
from genetics.notation.segments import Piece
from genetics.notation.words import Modifier

CERTAIN = Fraction(1)


class Form(Enum):
    """How a gene is stated: as it shows, in two copies, or hidden in one copy."""

    SHOWN = auto()
    SUPER = auto()
    HOMOZYGOUS = auto()
    HET = auto()


_HETS = {Modifier.HET, Modifier.HETS, Modifier.POSSIBLE_HET, Modifier.DOUBLE_HET}
_COUNTS = {Modifier.DOUBLE: 2, Modifier.DOUBLE_HET: 2, Modifier.TRIPLE: 3}
_FORMS = {
    Modifier.SUPER: Form.SUPER,
    Modifier.TWICE: Form.SUPER,
    Modifier.TIMES_TWO: Form.SUPER,
    Modifier.HOMOZYGOUS: Form.HOMOZYGOUS,
    Modifier.VISUAL: Form.SHOWN,
}


@dataclass(slots=True)
class Prefix:
    """The modifiers read since the last name."""

    words: list[str] = field(default_factory=list)
    chance: Fraction | None = None
    is_possible: bool = False
    is_het: bool = False
    is_list: bool = False
    n_genes: int = 0
    form: Form | None = None

    def add(self, piece: Piece) -> None:
        word = " ".join(piece.words)
        self.words.append(word)
        if piece.chance is not None:
            self._once(word, is_in_place=self.chance is None and not self.is_het)
            self.chance = piece.chance
            return
        modifier = piece.modifier
        if modifier in _HETS:
            self._once(word, is_in_place=not self.is_het)
            self.is_het = True
        if modifier in {Modifier.POSSIBLE, Modifier.POSSIBLE_HET}:
            self._once(word, is_in_place=modifier in _HETS or not self.is_het)
            self.is_possible = True
        if modifier is Modifier.FOR:
            self._once(word, is_in_place=self.is_het)
        if modifier in {Modifier.FOR, Modifier.HETS}:
            self.is_list = True
        if modifier in _COUNTS:
            self._once(
                word, is_in_place=not self.n_genes and (modifier in _HETS or not self.is_het)
            )
            self.n_genes = _COUNTS[modifier]
        if modifier in _FORMS:
            self._once(word, is_in_place=self.form is None and not self.is_het)
            self.form = _FORMS[modifier]

    def _once(self, word: str, *, is_in_place: bool) -> None:
        if not is_in_place:
            raise UnreadableTextError(
                f"The word {word!r} in {' '.join(self.words)!r} is out of place.", word=word
            )

    @property
    def het_chance(self) -> Fraction | None:
        return self.chance if self.chance or self.is_possible else CERTAIN

    @property
    def needs_het(self) -> bool:
        return bool(self.chance or self.is_possible or self.is_list or self.n_genes)
