"""A change of state in a keeper's words."""

from __future__ import annotations

from typing import Final

from registry.combinations.wording import evidence_sentence, flag_reason
from registry.feeds.choices import ON_BOARD
from registry.pools.choices import State
from registry.pools.models import PooledTarget

_NOW: Final = {
    State.NO_REPORTS: "no reports any more",
    State.TOO_EARLY: "too early to tell",
    State.AS_EXPECTED: "as expected",
    State.WATCH: "on watch",
    State.FLAGGED: "flagged",
}
_BEFORE: Final = {
    State.NO_REPORTS: "Nobody had reported a clutch that could have shown it.",
    State.TOO_EARLY: "It was too early to tell.",
    State.AS_EXPECTED: "It was as expected.",
    State.WATCH: "It was on watch.",
    State.FLAGGED: "It was flagged.",
}


def change_title(combination: str, after: str) -> str:
    """What changed, in a few words."""
    return f"{combination}: {_NOW[State(after)]}"


def change_sentences(before: str, after: str, now: PooledTarget | None) -> str:
    """The state before and, if nothing changed since, the numbers of today.

    Parameters
    ----------
    now
        The combination as it is, if its state is still the one it changed to; else None.
    """
    was = _BEFORE[State(before)]
    if after == State.NO_REPORTS and now is None:
        return f"{was} What was reported of it was taken back."
    if now is None:
        return f"{was} Its state has changed again since."
    told = flag_reason if State(after) in ON_BOARD else evidence_sentence
    return f"{was} Today: {told(now, after)}"
