"""Targets near a flag held against each other: which shortage explains which."""

from __future__ import annotations

from dataclasses import dataclass
from math import log10
from typing import Any

from genetics.evidence.evalue import WATCH_E_VALUE
from genetics.evidence.lower_order import (
    Beyond,
    beyond_parts,
    beyond_whole,
    is_part,
    parts_of,
)
from registry.pools.bridge.rows import Pools, combination_text


@dataclass(frozen=True, eq=False)
class Suspect:
    """A target near a flag with its pool, to be held against the others."""

    row_id: int
    combination: str
    pools: Pools


def explained_by_parts(suspect: Suspect) -> dict[str, Any] | None:
    """The part that explains the shortage of a larger combination; None if it is news.

    ``key`` is that of the part as a target; one gene of a compound is none.
    """
    beyond = beyond_parts(suspect.pools)
    found = _explanation_of(beyond)
    if beyond is None or found is None:
        return None
    species, target, _rows = suspect.pools[0]
    for part in parts_of(target):
        if " ".join(one.text for one in part.factors) == beyond.other:
            return found | {"other": combination_text(species, part), "key": part.key}
    return found


def explained_by_whole(part: Suspect, whole: Suspect, elsewhere: Pools) -> dict[str, Any] | None:
    """The larger combination, if it explains the shortage of a part; None if that is news."""
    beyond = beyond_whole(elsewhere, whole.pools, part.pools[0][1])
    found = _explanation_of(beyond)
    return found and found | {"other": whole.combination, "key": whole.pools[0][1].key}


def is_part_of(part: Suspect, whole: Suspect) -> bool:
    """Whether one combination is a part of another."""
    return is_part(part.pools[0][1], whole.pools[0][1])


def _explanation_of(beyond: Beyond | None) -> dict[str, Any] | None:
    if beyond is None or beyond.log10 >= log10(WATCH_E_VALUE):
        return None
    return {"other": beyond.other, "recovery": beyond.ratio, "log10_beyond": beyond.log10}
