"""What a keeper reads beside the numbers: states, explanations, and the next step."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, Final

from registry.pools.choices import FEW_KEEPERS, State
from registry.pools.models import PooledTarget
from registry.pools.wording import explanation_sentence

_NEVER: Final = 1e-12
_MAY_DIE: Final = 0.05
"""Probability of reduced viability from which on no pairing that could give it is proposed."""

SURPRISING: Final = 0.01
"""Chance from which down a count is called rare luck, taking the parents at their word."""

WATCH_LEVEL: Final = 20.0
"""E-value from which on a combination is on watch."""


def evidence_sentence(row: PooledTarget, state: str) -> str:
    """What the evidence amounts to."""
    if state == State.NO_REPORTS:
        return "Nobody reported a clutch that could have shown it."
    unsure = row.n_hits_possible - row.n_hits
    also = f" (and {unsure} that may be)" if unsure else ""
    counts = (
        f"{row.n_hits} hatched{also} where {row.expected:.3g} were expected among "
        f"{row.n_hatchlings} hatchlings"
    )
    e_value = 10.0 ** min(row.log10_e_value, 300.0)
    if state == State.TOO_EARLY:
        return (
            f"{counts}. These clutches could not have signalled a shortage, whatever hatched; "
            f"about {row.more_hatchlings} more hatchlings could."
        )
    if state == State.AS_EXPECTED:
        return f"{counts}. {_no_shortage(row)}"
    strength = (
        f"{counts}. The evidence of a shortage is {e_value:,.3g}; it reaches 20 once in twenty by "
        "luck at most, however often one looks and however many parents are mislabelled."
    )
    if state == State.WATCH:
        if row.explained_by:
            return strength
        few = f" A flag needs {FEW_KEEPERS} keepers." if row.n_keepers < FEW_KEEPERS else ""
        return f"{strength} Among all combinations looked at it is not a flag yet.{few}"
    return f"{strength} It stands out among all combinations looked at."


def _no_shortage(row: PooledTarget) -> str:
    if row.p_value >= SURPRISING:
        return "That is no sign of a shortage."
    return (
        "So few would be rare luck if all parents carry what they are said to. It is not evidence "
        "that fewer hatch: parents that do not carry it, or luck in so many looks, explain it too."
    )


def specific_sentence(log10_specific: float | None) -> str | None:
    """Whether the shortage is of the combination, and not of one of its genes."""
    if log10_specific is None:
        return None
    if 10.0 ** min(log10_specific, 300.0) < WATCH_LEVEL:
        return "The shortage is not yet specific to this combination: a single gene may fall short."
    return "The shortage is specific to this combination: its genes hatch apart from each other."


def recovery_sentence(estimate: float, low: float, high: float) -> str:
    """The recovery ratio as a keeper would say it."""
    if estimate < _NEVER:
        return f"It never hatched; {_often(high)} would fit the counts as well."
    return f"It hatched {_often(estimate)} ({_often(low)} to {_often(high)})."


def _often(ratio: float) -> str:
    if ratio < _NEVER:
        return "never"
    if ratio < 0.95:  # noqa: PLR2004 - rounds to once for every one
        return f"about 1 time for every {1 / ratio:.2g} expected"
    return f"{ratio:.2g} times for every 1 expected"


def next_step(
    explanations: Sequence[Mapping[str, Any]],
    *,
    hatchlings: int,
    is_single: bool,
    has_cautions: bool,
) -> str:
    """What would tell the two likeliest explanations apart, without harm to an animal.

    Parameters
    ----------
    explanations
        All that can apply, most probable first.
    hatchlings
        Number after which a gene that half of them should show is missed once in a hundred.
    is_single
        A combination of one gene: whoever proves a parent for it breeds the combination.
    has_cautions
        Something is known already that speaks against breeding it to find out.
    """
    names = [one["name"] for one in explanations[:2]]
    dying = next((one for one in explanations if one["name"] == "reduced-viability"), None)
    may_die = dying is not None and dying["probability"] >= _MAY_DIE
    if has_cautions or may_die or "reduced-viability" in names:
        other = next((one for one in names if one != "reduced-viability"), "")
        return _with_viability(other, is_single=is_single)
    if "parent-not-carrying" in names:
        return (
            "Test the parents one gene at a time: for a recessive gene pair each with a visual of "
            "that gene alone, for a gene that shows in one copy with an animal without it. From a "
            f"parent that carries it, {hatchlings} hatchlings without it come 1 time in 100."
        )
    if "look-alike" in names:
        return (
            "Have the hatchlings that could be it looked at again after a few sheds, and by "
            "somebody else; report uncertain calls as uncertain."
        )
    if "linked-in-repulsion" in names:
        return (
            "Count the normals in clutches whose parents are het for both genes, those already "
            "laid included: half of the hatchlings if the genes are linked, and more if one of "
            "them falls short."
        )
    return "Report the clutches that come in any case, failures included; count every hatchling."


def _with_viability(other: str, *, is_single: bool) -> str:
    """Steps that need no further clutch of the combination."""
    careful = "Make no further pairing that could give it in order to find out."
    steps = {
        "look-alike": (
            "Have the hatchlings that could be it looked at again after a few sheds, and count the "
            "eggs that died in the clutches already laid."
        ),
        "gene-shortage": (
            "Look at clutches already laid in which each gene hatches without the other."
        ),
        "linked-in-repulsion": (
            "Count the normals in the clutches already laid whose parents are het for both genes: "
            "half of the hatchlings if the genes are linked, nine in fifteen if the combination "
            "dies."
        ),
    }
    if not is_single:
        steps["parent-not-carrying"] = (
            "Prove each parent for one gene at a time, and only in pairings that can give neither "
            "the combination nor a look with a caution."
        )
    step = steps.get(other, "Count the eggs that died in the clutches already laid.")
    return f"{step} {careful} If eggs or hatchlings die, ask a reptile veterinarian."


def explained_sentence(found: Mapping[str, Any]) -> str:
    """Which other combination a shortage comes from."""
    ratio = found["recovery"]
    often = f"hatches about {ratio:.2g} times for every 1 expected" if ratio else "never hatches"
    return f"The shortage comes from {found['other']}, which {often}; beyond that it is no news."


def flag_reason(row: PooledTarget, state: str) -> str:
    """Why a combination is on the board, in a keeper's words."""
    said = explanation_sentence(row.reason, row.combination) if row.reason else ""
    likely = (
        f" Likeliest of six explanations ({100 * row.reason['probability']:.0f} %): {said}"
        if row.reason
        else ""
    )
    if row.explained_by:
        return f"{evidence_sentence(row, state)} {explained_sentence(row.explained_by)}"
    return f"{evidence_sentence(row, state)}{likely}"
