"""What a keeper writes in the cell of the hatchlings: ``3 ashwater; 5 normal; 1 male tidemark``.

One entry is ``COUNT [male|female] CALL [or CALL]... [(basis)]``; entries are separated by
semicolons or line breaks. ``3x ashwater`` and ``ashwater x 3`` are read as well. With a 2 they are
not: ``x2`` and ``2x`` mean two copies of a gene in a keeper's notation.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any, Final

from registry.errors import RegistryError, UnreadableCellError

_SIGNS: Final = re.compile(r"[;\n\r()]")
_COUNT_FIRST: Final = re.compile(
    r"(?P<count>[0-9]+)(?:\s*(?P<times>[x\u00d7])\s+|\s+)(?!%)(?P<call>.+)",
    re.IGNORECASE,
)
_COUNT_LAST: Final = re.compile(r"(?P<call>.+?)\s+[x\u00d7]\s*(?P<count>[0-9]+)", re.IGNORECASE)
_BY_SEX: Final = re.compile(r"[0-9]+\.[0-9]+(?:\.[0-9]+)?\s")
_SEX: Final = re.compile(r"(?P<sex>male|female)s?\s+(?P<call>.+)", re.IGNORECASE)
_BASIS: Final = re.compile(r"(?P<call>.*?)\s*\((?P<basis>[^()]*)\)")
_OR: Final = re.compile(r"\s+or\s+", re.IGNORECASE)
_MOST_DIGITS: Final = 9
_MOST_SHOWN: Final = 60

IsName = Callable[[str], bool]
"""Whether words in round brackets belong to the name of a gene, and so are no basis."""


@dataclass(frozen=True, slots=True)
class ReadCell:
    """Entries in the form of a clutch's body, and (place from 0, refusal) of the others."""

    entries: tuple[dict[str, Any], ...]
    refusals: tuple[tuple[int, RegistryError], ...]


def hatchlings_read(text: str, is_name: IsName) -> ReadCell:
    """The entries of a cell. An empty cell is a clutch in which nothing hatched."""
    entries: list[dict[str, Any]] = []
    refusals: list[tuple[int, RegistryError]] = []
    # With single blanks no pattern below has to try where a run of them begins.
    parts = (" ".join(one.split()) for one in _parts(text))
    for place, part in enumerate(one for one in parts if one):
        try:
            entries.append(_entry(part, is_name))
        except UnreadableCellError as error:
            refusals.append((place, error))
    return ReadCell(tuple(entries), tuple(refusals))


def _parts(text: str) -> Iterator[str]:
    """What stands between the separators; those in round brackets separate nothing."""
    start, in_brackets = 0, False
    for sign in _SIGNS.finditer(text):
        if sign[0] in "()":
            in_brackets = sign[0] == "("
        elif not in_brackets:
            yield text[start : sign.start()]
            start = sign.end()
    yield text[start:]


def _entry(part: str, is_name: IsName) -> dict[str, Any]:
    if part.count("(") != part.count(")"):
        raise UnreadableCellError(f"{_shown(part)} has a round bracket without its other half.")
    text, basis = _without_basis(part, is_name)
    count, rest = _counted(text)
    sexed = _SEX.fullmatch(rest)
    call, *others = _OR.split(sexed["call"] if sexed else rest)
    return {
        "call": call,
        "count": count,
        **({"sex": sexed["sex"].casefold()} if sexed else {}),
        **({"or": others} if others else {}),
        **({"basis": basis} if basis else {}),
    }


def _without_basis(part: str, is_name: IsName) -> tuple[str, str]:
    found = _BASIS.fullmatch(part)
    if found is None or is_name(found["basis"]):
        return part, ""
    return found["call"], found["basis"].strip()


def _counted(text: str) -> tuple[int, str]:
    """The count of an entry and what is left of it."""
    if found := _COUNT_FIRST.fullmatch(text):
        has_times = found["times"] is not None
    elif found := _COUNT_LAST.fullmatch(text):
        has_times = True
    else:
        raise _no_count(text)
    if len(found["count"]) > _MOST_DIGITS:
        raise UnreadableCellError(
            f"Read a count of {len(found['count'])} digits in {_shown(text)}."
        )
    count = int(found["count"])
    if has_times and count == 2:  # noqa: PLR2004 - the two of "x2"
        call = found["call"].strip()
        raise UnreadableCellError(
            f"{_shown(text)} can be read in two ways: write '2 {call}' for two hatchlings, "
            f"'1 {call} x2' for one with two copies of the gene."
        )
    return count, found["call"].strip()


def _no_count(text: str) -> UnreadableCellError:
    if _BY_SEX.match(text):
        return UnreadableCellError(
            f"{_shown(text)} begins with a count by sex; write one entry for each, such as "
            "'1 male normal; 2 female normal'."
        )
    return UnreadableCellError(
        f"{_shown(text)} begins with no count; expected one before the call, such as '3 normal'."
    )


def _shown(text: str) -> str:
    return repr(text if len(text) <= _MOST_SHOWN else f"{text[:_MOST_SHOWN]}...")
