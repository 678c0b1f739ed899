"""What a keeper reads beside the numbers: states, explanations, and the next step."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, Final

from registry.combinations.choices import Produced
from registry.pools.bridge.explaining import LARGEST_RATIO, EvidenceAnswer
from registry.pools.choices import FEW_KEEPERS, State
from registry.pools.models import PooledTarget
from registry.pools.wording import explanation_sentence, number_text
from registry.wording import counted, percent_text, were

_NEVER: Final = 1e-12
_ABOUT_ONE: Final = (0.95, 1.05)
"""Ratios that are called as often as expected."""

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
        f"{row.n_hits} hatched{also} where {were(number_text(row.expected))} expected among "
        f"{counted(row.n_hatchlings, 'hatchling')}"
    )
    e_value = number_text(10.0 ** min(row.log10_e_value, 300.0))
    if state == State.TOO_EARLY and row.more_hatchlings is not None:
        return (
            f"{counts}. These clutches could not have signalled a shortage, whatever hatched; "
            f"about {counted(row.more_hatchlings, 'more hatchling')} could."
        )
    if state == State.AS_EXPECTED:
        return f"{counts}. {_no_shortage(row)}"
    strength = (
        f"{counts}. The evidence of a shortage is {e_value}; it reaches 20 once in twenty by "
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


def produced_word(n_hits: int, n_hits_possible: int) -> Produced:
    """Whether anyone has produced a combination, by its certain and its possible hits."""
    if n_hits:
        return Produced.YES
    return Produced.UNCERTAIN if n_hits_possible else Produced.NO


def recovery_sentence(row: PooledTarget, answer: EvidenceAnswer) -> str:
    """The recovery ratio as a keeper would say it, beside the counts that are said before it.

    The ratio is taken after allowing for parents that do not carry what they should, and may say
    the opposite of the plain counts then; this is told.
    """
    found = answer.recovery
    ends = f"{_often(found.low)} to {_often(found.high)}"
    if answer.nothing_missing:
        return (
            f"It hatched as often as expected, or more often; {ends} would fit the counts as well."
        )
    if found.estimate < _NEVER:
        never = _NEVER_SO_FAR[produced_word(row.n_hits, row.n_hits_possible)]
        if found.high >= LARGEST_RATIO:
            return (
                f"It {never}, but the counts do not tell how often it does: they are too few, or "
                "parents may not carry it."
            )
        return f"It {never}; {_often(found.high)} would fit the counts as well."
    plain = row.n_hits_possible / row.expected if row.expected else 1.0
    allowing = ""
    if plain < 1 and _direction(found.estimate) > _direction(plain):
        allowing = "Allowing for parents that do not carry what they should, "
    elif plain >= 1 and _direction(found.estimate) < _direction(plain):
        allowing = "Weighing what the parents turned out to carry and what is uncertain, "
    said = f"{allowing}it hatched {_often(found.estimate)} ({ends})."
    return said[0].upper() + said[1:]


_NEVER_SO_FAR: Final = {
    Produced.NO: "never hatched",
    Produced.UNCERTAIN: "never surely hatched",
    Produced.YES: "hardly ever hatched",
}


def _direction(ratio: float) -> int:
    """-1, 0 or 1: less often than expected, as often, or more often."""
    return (ratio > _ABOUT_ONE[1]) - (ratio < _ABOUT_ONE[0])


def _often(ratio: float) -> str:
    if ratio < _NEVER:
        return "never"
    if ratio < _ABOUT_ONE[0]:
        return f"about 1 time for every {number_text(1 / ratio, digits=2)} expected"
    if ratio <= _ABOUT_ONE[1]:
        return "about as often as expected"
    if ratio >= LARGEST_RATIO:
        return f"{LARGEST_RATIO:g} or more times for every 1 expected"
    return f"{number_text(ratio, digits=2)} times for every 1 expected"


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


def explained_sentence(found: Mapping[str, Any], other_produced: str | None) -> str:
    """Which other combination a shortage comes from.

    Parameters
    ----------
    other_produced
        Whether anyone has produced that one (of ``Produced``); None if it is not known.
    """
    ratio = found["recovery"]
    if ratio:
        often = f"hatches about {number_text(ratio, digits=2)} times for every 1 expected"
    else:
        often = _NEVER_AT_ALL.get(other_produced or "", "hardly ever hatches")
    return f"The shortage comes from {found['other']}, which {often}; beyond that it is no news."


_NEVER_AT_ALL: Final[Mapping[str, str]] = {
    Produced.NO: "never hatches",
    Produced.UNCERTAIN: "never surely hatches",
}

_NUMBER_WORDS: Final = ("no", "one", "two", "three", "four", "five", "six")


def flag_reason(row: Any, state: str) -> str:
    """Why a combination is on the board, in a keeper's words."""
    said = evidence_sentence(row, state)
    if row.explained_by:
        return (
            f"{said} {explained_sentence(row.explained_by, getattr(row, 'other_produced', None))}"
        )
    if not row.reason:
        return said
    number = row.reason.get("of")
    of = f" of {_NUMBER_WORDS[number]} explanations" if number else " explanation"
    return (
        f"{said} Likeliest{of} ({percent_text(row.reason['probability'])}): "
        f"{explanation_sentence(row.reason, row.combination)}"
    )
