"""Evidence, recovery ratio and explanations of one combination, as they are answered."""

from __future__ import annotations

from typing import Any

from registry.combinations.wording import (
    evidence_sentence,
    explained_sentence,
    next_step,
    recovery_sentence,
    specific_sentence,
)
from registry.pools.bridge.explaining import (
    EvidenceAnswer,
    evidence_answer,
    explanation_priors,
    explanation_to_json,
)
from registry.pools.bridge.rows import Pools, pools_of
from registry.pools.choices import FEW_KEEPERS, Source
from registry.pools.look_alikes import changes_of
from registry.pools.models import PooledTarget, PoolRow
from registry.pools.stored_rows import rows_of
from registry.pools.wording import explanation_sentence

HATCHLINGS_FOR_A_TEST = 7
"""Hatchlings after which a gene that half of them should show is missed less than once in 100."""


def evidence_parts(row: PooledTarget, state: str, *, has_cautions: bool) -> dict[str, Any]:
    """``evidence``, ``recovery``, ``explanations``, ``next_step``, ``explained_by``, ``priors``.

    For a combination without hatchlings everything is empty and said so. What one or two keepers
    brought in is not told apart.
    """
    pools = pool_of(row)
    if not pools:
        return _nothing(row, state)
    changes = changes_of([row.species_id])[row.species_id]
    answer = evidence_answer(pools, changes)
    said = [explanation_to_json(one) for one in answer.explanations]
    for one in said:
        one["sentence"] = explanation_sentence(
            one, row.combination, nothing_missing=answer.nothing_missing
        )
    return {
        "evidence": _evidence(row, state, answer),
        "recovery": {
            "estimate": answer.recovery.estimate,
            "low": answer.recovery.low,
            "high": answer.recovery.high,
            "level": answer.recovery.level,
            "sentence": recovery_sentence(row, answer),
        },
        "explanations": said,
        "next_step": None
        if answer.nothing_missing
        else next_step(
            said,
            hatchlings=HATCHLINGS_FOR_A_TEST,
            is_single=row.n_factors == 1,
            has_cautions=has_cautions,
        ),
        "explained_by": explained_by(row),
        "priors": explanation_priors(answer.look_alike_prior),
    }


def pool_of(row: PooledTarget) -> Pools:
    """The pool of a target, from its distinct rows."""
    if row.pk is None:
        return []
    kept = PoolRow.objects.filter(target=row).order_by("digest")
    rows = kept.values_list("target_id", "digest", "n_families")
    return pools_of(row.factors, rows_of(rows).get(row.pk, ()))


def _nothing(row: PooledTarget, state: str) -> dict[str, Any]:
    return {
        "evidence": {
            "e_value": 1.0,
            "e_value_declared_only": None,
            "e_value_specific": None,
            "without_top_keeper": None,
            "unreported_successes_to_undo": 0,
            "more_hatchlings_to_signal": None,
            "sentence": evidence_sentence(row, state),
            "specific": None,
        },
        "recovery": None,
        "explanations": [],
        "next_step": None,
        "explained_by": None,
        "priors": explanation_priors(),
    }


def _evidence(row: PooledTarget, state: str, answer: EvidenceAnswer) -> dict[str, Any]:
    many = row.source == Source.PUBLISHED or row.n_keepers >= FEW_KEEPERS
    return {
        "e_value": value_of(answer.log10_e_value),
        "e_value_declared_only": value_of(answer.log10_declared) if many else None,
        "e_value_specific": value_of(answer.log10_specific),
        "without_top_keeper": value_of(row.log10_without_top if many else None),
        "unreported_successes_to_undo": answer.to_undo,
        "more_hatchlings_to_signal": row.more_hatchlings,
        "sentence": evidence_sentence(row, state),
        "specific": specific_sentence(answer.log10_specific),
    }


def explained_by(row: PooledTarget) -> dict[str, Any] | None:
    """Another combination that explains the shortage; None if the shortage is news."""
    found = row.explained_by
    if not found:
        return None
    return {
        "combination": found["other"],
        "recovery": found["recovery"],
        "e_value_beyond": value_of(found["log10_beyond"]),
        "sentence": explained_sentence(found, getattr(row, "other_produced", None)),
    }


def value_of(log10: float | None) -> Any:
    """An e-value from its logarithm, at most 1e300; None stays None."""
    return None if log10 is None else float(10.0 ** min(log10, 300.0))
