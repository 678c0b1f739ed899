"""Whether anything is missing at all, before it is asked why."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from genetics.evidence.evalue import WATCH_E_VALUE
from genetics.evidence.explanations import Explanation, ExplanationResult, explanations

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from genetics.evidence.evalue import EValue
    from genetics.evidence.hits import PoolHits
    from genetics.model.species import Species
    from genetics.pool.pool import PoolRow
    from genetics.pool.target import Target

    Pools = Sequence[tuple[Species, Target, Mapping[PoolRow, int]]]

NOTHING_MISSING: Final = (ExplanationResult(name=Explanation.AS_CATALOGUED, probability=1.0),)
"""What explains a combination that hatches as often as it should."""


def is_nothing_missing(hits: PoolHits, evidence: EValue) -> bool:
    """Whether it hatched as often as expected or more often, uncertain ones counted in.

    Not where there is evidence of a shortage all the same: possible hets that turned out to carry
    it give more than was expected of them, and it can be short against that.
    """
    return hits.n_hits_possible >= hits.expected and evidence.value < WATCH_E_VALUE


def why_missing(
    pools: Pools, hits: PoolHits, evidence: EValue, *, miscalled: Mapping[int, int] | None = None
) -> tuple[ExplanationResult, ...]:
    """Why hatchlings are missing, most probable first; as catalogued for sure if none are.

    The six explanations are of a shortage. Where there is none they would have to account for the
    surplus, as of one-copy young where those with two copies die, and would name a wrong reason.
    ``miscalled`` is as in ``explanations``.
    """
    if is_nothing_missing(hits, evidence):
        return NOTHING_MISSING
    return explanations(pools, miscalled=miscalled)
