"""Everything that is said of the evidence on one target, and the reasons for a shortage."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

from genetics.errors import GeneticsError
from genetics.evidence.conditional import specific_evidence
from genetics.evidence.evalue import e_value, target_viability
from genetics.evidence.explanations import PRIORS, ExplanationResult, look_alike_prior
from genetics.evidence.hits import pool_hits
from genetics.evidence.likelihood import pool_likelihood
from genetics.evidence.missing import is_nothing_missing, why_missing
from genetics.evidence.recovery import LARGEST_PSI, Recovery, recovery_ratio
from genetics.evidence.robustness import declared_only, successes_to_undo
from genetics.model.species import Species
from genetics.notation.reader import read_look
from genetics.pool.cells import cell_of
from genetics.pool.target import Target
from registry.pools.bridge.rows import Pools

LARGEST_RATIO = LARGEST_PSI
"""Recovery ratio at which estimates and intervals end: it may be more."""

CallChanges = Sequence[tuple[str, str, int]]
"""(first call, later call, hatchlings), calls in canonical text."""


@dataclass(frozen=True, slots=True)
class EvidenceAnswer:
    """Everything that is said of the evidence on one target; logarithms to base 10."""

    log10_e_value: float
    log10_declared: float | None
    log10_specific: float | None
    to_undo: int
    null_rate: float
    nothing_missing: bool
    recovery: Recovery
    explanations: tuple[ExplanationResult, ...]
    look_alike_prior: float


def evidence_answer(pools: Pools, changes: CallChanges) -> EvidenceAnswer:
    """The evidence on one target with hatchlings.

    Parameters
    ----------
    changes
        What calls of the species became at later looks, in any clutches.
    """
    target = pools[0][1]
    likelihood = pool_likelihood(pools, target_viability(target))
    found = e_value(likelihood)
    declared = declared_only(pools)
    specific = specific_evidence(pools)
    hits = pool_hits(pools)
    miscalled = miscalled_cells(pools, changes)
    mean = float(hits.expected) / hits.n_hatchlings
    return EvidenceAnswer(
        log10_e_value=found.log10,
        log10_declared=declared.log10 if declared else None,
        log10_specific=specific.log10 if specific else None,
        to_undo=successes_to_undo(likelihood, hit_chance=min(max(mean, 1e-9), 1 - 1e-9)),
        null_rate=found.null_rate,
        nothing_missing=is_nothing_missing(hits, found),
        recovery=recovery_ratio(pools),
        explanations=why_missing(pools, hits, found, miscalled=miscalled),
        look_alike_prior=look_alike_prior(sum(miscalled.values())),
    )


def miscalled_cells(pools: Pools, changes: CallChanges) -> dict[int, int]:
    """Cell -> hatchlings first called so that turned out to be the combination of the pools."""
    species, target, _rows = pools[0]
    found: Counter[int] = Counter()
    for called, became, count in changes:
        cells = [_cell_of_text(species, target, text) for text in (called, became)]
        if None not in cells and cells[0] != cells[1] == target.n_cells - 1:
            found[cells[0] or 0] += count
    return dict(found)


@lru_cache(maxsize=4096)
def _cell_of_text(species: Species, target: Target, text: str) -> int | None:
    """Cell of a call; None if this version of the species can not read it."""
    try:
        read = read_look(species, text)
    except GeneticsError:
        return None
    looks = {one.locus: species.by_key[one.locus].look(next(iter(one.pairs))) for one in read.looks}
    return cell_of(species, target, looks)


def explanation_to_json(one: ExplanationResult) -> dict[str, Any]:
    """An explanation with what it is about; parts that do not apply are left out."""
    found: dict[str, Any] = {"name": str(one.name), "probability": one.probability}
    for name in ("called_as", "gene", "recombination_fraction"):
        if getattr(one, name) is not None:
            found[name] = getattr(one, name)
    return found


def explanation_priors(look_alike: float | None = None) -> Mapping[str, float]:
    """Prior weight of each explanation; that of a look-alike grows with known miscalls."""
    known = {str(name): prior for name, prior in PRIORS.items()}
    return known if look_alike is None else known | {"look-alike": look_alike}
