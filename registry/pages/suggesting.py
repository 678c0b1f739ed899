"""What a half-typed text may become: names of the species for its last words."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from functools import lru_cache
from typing import Final

from registry.api.nearest import nearest_names
from registry.catalogue.bridge import names_written
from registry.catalogue.selectors import species_loaded, version_loaded

MOST: Final = 8
_LONGEST_READ: Final = 300
_LONGEST_NAME: Final = 4
"""Words of the end of a text that are tried as the beginning of a name."""
_FEWEST_TO_GUESS: Final = 3
"""Letters from which on a misspelt word is guessed at."""


def suggestions(species_key: str, text: str) -> list[str]:
    """Whole texts: what was typed, its last words completed. One statement.

    Names that begin as several last words do are all there is, if there are any; else those that
    begin as the last word does, then those with a word that does, else those that are spelt alike.

    Raises
    ------
    UnknownSpeciesError
    """
    version = species_loaded(species_key).version_id
    if not text.strip() or len(text) > _LONGEST_READ or text[-1].isspace():
        return []
    names = _names(version)
    ends = list(_ends(text))
    if not ends:
        return []
    for before, part in ends[:-1]:
        if found := [f"{before}{name}" for name in _beginning(names, part)]:
            return _offered(found, text)
    before, part = ends[-1]
    wanted = _plain(part)
    found = list(_beginning(names, part))
    found += [name for name in names if any(w.startswith(wanted) for w in _plain(name).split())]
    if not found and len(wanted) >= _FEWEST_TO_GUESS:
        found = nearest_names(part, names, limit=MOST)
    return _offered([f"{before}{name}" for name in found], text)


def _offered(found: Sequence[str], text: str) -> list[str]:
    """Each once, and none that is there already."""
    return [one for one in dict.fromkeys(found) if one != text][:MOST]


@lru_cache(maxsize=64)
def _names(version_id: int) -> tuple[str, ...]:
    return names_written(version_loaded(version_id))


def _ends(text: str) -> Iterator[tuple[str, str]]:
    """(what stands before, last words) for the last words of a text, the most words first."""
    starts = [found.start() for found in re.finditer(r"[^\s,;/]+", text)]
    for start in starts[-_LONGEST_NAME:]:
        yield text[:start], text[start:]


def _beginning(names: Sequence[str], part: str) -> Iterator[str]:
    wanted = _plain(part)
    return (name for name in names if _plain(name).startswith(wanted))


def _plain(text: str) -> str:
    """Without case, and with blanks for hyphens, as names are compared."""
    return " ".join(re.sub(r"[\s_-]+", " ", text.casefold()).split())
