"""Nearest known names for a word nobody knows."""

from __future__ import annotations

from rapidfuzz import fuzz

from genetics.notation.names import Name, NameIndex

MOST_SUGGESTIONS = 6
LEAST_LIKENESS = 65.0
"""Of 100; below it a suggestion is more often wrong than right (tried on the catalogue)."""

START_OF_NAME = 100.0
PART_OF_NAME = 95.0
WORD_WEIGHT = 0.9
"""A likeness to one word of a longer name counts a little less than one to the whole name."""


def nearest_names(index: NameIndex, stretch: str) -> tuple[str, ...]:
    """Names most like a stretch of words, best first; then names like its single words."""
    found = _nearest(index, stretch)
    for word in dict.fromkeys(stretch.split()[:MOST_SUGGESTIONS]):
        found.extend(_nearest(index, word))
    return tuple(dict.fromkeys(found))[:MOST_SUGGESTIONS]


def is_part_of_a_name(index: NameIndex, stretch: str) -> bool:
    """Whether all the words stand in one longer name, as ``axanthic`` in ``Axanthic (VPI)``."""
    words = set(stretch.split())
    return any(words <= set(known) for known in index.by_words)


def _nearest(index: NameIndex, stretch: str) -> list[str]:
    scored = [(_likeness(stretch, name), name) for name in index.by_words.values()]
    near = sorted(
        ((score, name) for score, name in scored if score >= LEAST_LIKENESS),
        key=lambda item: (-item[0], -fuzz.ratio(stretch, " ".join(item[1].words))),
    )
    # One suggestion a meaning: an alias adds nothing beside the name of its gene.
    by_sense = {name.senses: name.wording for _score, name in reversed(near)}
    kept = set(by_sense.values())
    return [name.wording for _score, name in near if name.wording in kept]


def _likeness(stretch: str, name: Name) -> float:
    words = stretch.split()
    if list(name.words[: len(words)]) == words:
        return START_OF_NAME
    if set(words) <= set(name.words):
        return PART_OF_NAME
    by_word = max(fuzz.ratio(stretch, word) for word in name.words) if len(words) == 1 else 0.0
    return max(fuzz.ratio(stretch, " ".join(name.words)), WORD_WEIGHT * by_word)
