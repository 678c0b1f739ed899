"""The state of a target from its pool, as far as counts alone can say."""

from __future__ import annotations

from enum import StrEnum
from fractions import Fraction
from typing import TYPE_CHECKING

from genetics.exact import TAIL_TOLERANCE

if TYPE_CHECKING:
    from genetics.evidence.hits import PoolHits

WATCH_LEVEL = Fraction(1, 20)
"""A pooled tail below this puts a target on watch."""


class State(StrEnum):
    """What can be said of a target."""

    NO_REPORTS = "no-reports"
    TOO_EARLY = "too-early"
    AS_EXPECTED = "as-expected"
    WATCH = "watch"


def state_of(pool: PoolHits) -> State:
    """State by the exact pooled tail, uncertain hits counted in.

    ``TOO_EARLY`` while even no hit at all would not be surprising at ``WATCH_LEVEL``: such a pool
    can not put anything on watch, whatever it shows. A chance equal to the level does not watch.
    """
    if not pool.n_hatchlings:
        return State.NO_REPORTS
    if pool.tail.chance_of_none >= WATCH_LEVEL:
        return State.TOO_EARLY
    level = float(WATCH_LEVEL) * (1 - TAIL_TOLERANCE)
    return State.WATCH if pool.tail.probability < level else State.AS_EXPECTED
