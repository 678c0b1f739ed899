"""Known names near a misspelt one."""

from __future__ import annotations

from collections.abc import Iterable

from rapidfuzz import fuzz, process

# Of 100, by insertions and deletions: one wrong letter of four gives 75, of three 67.
_LEAST_LIKENESS = 65
_LONGEST_READ = 100


def nearest_names(word: str, known: Iterable[str], *, limit: int = 3) -> list[str]:
    """At most ``limit`` of ``known`` that are like ``word``, nearest first; case is ignored.

    Words of more than 100 characters are like nothing: comparing them costs time for no gain.
    """
    if len(word) > _LONGEST_READ:
        return []
    matches = process.extract(
        word,
        sorted(known),
        scorer=fuzz.ratio,
        processor=str.casefold,
        limit=limit,
        score_cutoff=_LEAST_LIKENESS,
    )
    return [name for name, _likeness, _index in matches]
