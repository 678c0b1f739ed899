"""Text as keepers write it -> words with the separators between them."""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass
from enum import IntEnum
from fractions import Fraction

from genetics.errors import ChanceOutOfRangeError, UnreadableTextError

LONGEST_TEXT = 500
"""Characters of the longest text that is read; some thirty genes fit in it."""

_DROPPED = dict.fromkeys(map(ord, "'\u2019\u2018`\u00b4\u02bc\u2032"))
_TIMES_SIGN = {ord("\u00d7"): "x"}

_PIECE = re.compile(
    r"(?P<percent>(?<![0-9.])[0-9]+(?:\.[0-9]+)?)[\s_-]*(?:%|percent\b|pct\b)"
    r"|(?P<share>[0-9]+\s*/\s*[0-9]+)(?=\s*(?:possible|poss|pos|ph|hets?|heterozygous)\b)"
    r"|(?P<word>[^\W_]+|%)"
    r"|(?P<hard>[,;\u3001])"
    r"|(?P<join>[/&+])",
)
_TWO_THIRDS = re.compile(r"66(\.6*[67])?|67")
_ONE_THIRD = re.compile(r"33(\.3+)?")
_MINUS = re.compile(
    r"(?:(?:^|(?<=[\s(\[]))[-\u2010-\u2013]+|\u2212\s*)"
    r"(?:[0-9.]*[0-9][\s_-]*(?:%|percent\b|pct\b)|[0-9]+\s*/\s*[0-9]+|[0-9]+x\b)"
)
"""A minus before a chance or a number of copies. A hyphen separates behind a word, a chance or a
comma, and with a blank behind it."""

_COPY_OVER_WILD = re.compile(r"/\s*\+|\+\s*/")


class Gap(IntEnum):
    """What stands in front of a word: blanks and the like, a joiner (``/ & + and``), a comma."""

    SOFT = 0
    JOINER = 1
    HARD = 2


@dataclass(frozen=True, slots=True)
class Token:
    """A word without case, accents and apostrophes, or a chance such as ``66%``."""

    word: str
    gap: Gap
    chance: Fraction | None = None


def folded(text: str) -> str:
    """Text without case, accents, apostrophes and width; a times sign becomes an x."""
    plain = unicodedata.normalize("NFKD", text.translate(_DROPPED | _TIMES_SIGN).casefold())
    return "".join(sign for sign in plain if unicodedata.category(sign) != "Mn").casefold()


def tokens_of(text: str) -> tuple[Token, ...]:
    """Words and chances of a text in their order.

    Raises
    ------
    ChanceOutOfRangeError
        A chance of 0, or above 100 %.
    """
    found: list[Token] = []
    gap = Gap.SOFT
    for piece in _PIECE.finditer(folded(text)):
        kind, part = piece.lastgroup, piece[piece.lastgroup or 0]
        if kind == "hard":
            gap = Gap.HARD
        elif kind == "join" or part == "and":
            gap = max(gap, Gap.JOINER)
        else:
            chance = None if kind == "word" else _chance(part)
            found.append(Token(word=piece[0], gap=gap if found else Gap.SOFT, chance=chance))
            gap = Gap.SOFT
    return tuple(found)


def refuse_long_text(text: str) -> None:
    """Refuse what nobody types.

    Raises
    ------
    UnreadableTextError
        More than ``LONGEST_TEXT`` characters.
    """
    if len(text) > LONGEST_TEXT:
        raise UnreadableTextError(
            f"The text has {len(text)} characters; at most {LONGEST_TEXT} are read.",
            n_characters=len(text),
        )


def readable_tokens(text: str) -> tuple[Token, ...]:
    """The tokens of a text that is to be read as genes.

    Raises
    ------
    UnreadableTextError
        No letter at all; a copy written over a wild type sign (``clown/+``), or a minus before
        a number (``-5% het clown``): the sign would be lost among the separators.
    """
    tokens = tokens_of(text)
    if not any(sign.isalpha() for token in tokens if token.chance is None for sign in token.word):
        raise UnreadableTextError(
            "The text names no gene. Write gene names, or 'normal' for an animal without any.",
            text=text,
        )
    if _COPY_OVER_WILD.search(folded(text)):
        raise UnreadableTextError(
            f"{text!r} writes a gene over a wild type sign. Write 'het' before a recessive gene "
            "for one copy, the bare name for a gene that shows in one copy.",
            text=text,
        )
    if minus := _MINUS.search(folded(text)):
        raise UnreadableTextError(
            f"{minus[0]!r} has a minus before a number. A chance lies above 0 and at most at "
            "100 %; write it without a sign, and a blank behind a hyphen that separates words.",
            text=text,
        )
    return tokens


def normal_form(name: str) -> str:
    """A name as names are compared: its words without case and punctuation, one blank between."""
    return " ".join(token.word for token in tokens_of(name))


def _chance(part: str) -> Fraction:
    """Chance of a percentage or a share. The trade's 66 and 67 % are 2/3, its 33 % is 1/3.

    A zero behind the point makes a number exact: 66.0 % is 33/50.
    """
    if _TWO_THIRDS.fullmatch(part):
        return Fraction(2, 3)
    if _ONE_THIRD.fullmatch(part):
        return Fraction(1, 3)
    above, _, below = part.partition("/")
    size = int(below) if below else 100
    chance = Fraction(above.strip()) / size if size else Fraction(0)
    if not 0 < chance <= 1:
        raise ChanceOutOfRangeError(
            f"The chance of a possible het must lie above 0 and at most at 100 %, not at {part}"
            f"{'' if below else ' %'}.",
            chance=part,
        )
    return chance


def chance_wording(chance: Fraction) -> str:
    """A chance as ``tokens_of`` reads it back exactly: a percentage, or a share such as 2/7."""
    if chance == Fraction(2, 3):
        return "66%"
    if chance == Fraction(1, 3):
        return "33%"
    rest = chance.denominator
    for prime in (2, 5):
        while rest % prime == 0:
            rest //= prime
    if rest != 1:
        return f"{chance.numerator}/{chance.denominator}"
    percent = _decimal(chance * 100)
    if _TWO_THIRDS.fullmatch(percent) or _ONE_THIRD.fullmatch(percent):
        percent += "0" if "." in percent else ".0"
    return f"{percent}%"


def _decimal(number: Fraction) -> str:
    """A number with an end behind the point, written out."""
    digits = 0
    while (number * 10**digits).denominator != 1:
        digits += 1
    whole = str(int(number * 10**digits)).rjust(digits + 1, "0")
    return f"{whole[:-digits]}.{whole[-digits:]}" if digits else whole
