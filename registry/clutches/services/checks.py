"""Look at a clutch in hand; nothing is stored."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from registry.catalogue.bridge import CARE, Caution
from registry.catalogue.selectors import names_elsewhere, species_loaded
from registry.clutches.bridge.checks import (
    UNPROVEN_BEFORE,
    CheckedClutch,
    clutch_checked,
    doubt_sentence,
)
from registry.clutches.bridge.reports import ReadClutch, clutch_read, parents_read
from registry.clutches.checking import clutch_counts_checked
from registry.clutches.selectors import group_answer
from registry.errors import at, gathered
from registry.pairings.bridge.parents import parent_text
from registry.wording import counted

TOGETHER_IMPOSSIBLE = (
    "Each of these hatchlings could come from these parents, but not all of them together: a "
    "parent or a call is not what it is said to be."
)


ORDINARY = 0.05
"""Probability from which on a clutch is called ordinary: the customary level."""


def clutch_check(given: Mapping[str, Any]) -> dict[str, Any]:
    """The answer about a clutch in hand.

    Raises
    ------
    FieldsError
        Everything that can be refused, each with its place.
    """
    with at("species"):
        loaded = species_loaded(given["species"])
    others = names_elsewhere(loaded.key)
    with gathered() as faults:
        with faults.at():
            clutch_counts_checked(given)
        with faults.at():
            read = clutch_read(
                loaded, parents_read(loaded, given, others), given["hatchlings"], others
            )
    return clutch_weighed(read, given)


def clutch_weighed(read: ReadClutch, given: Mapping[str, Any]) -> dict[str, Any]:
    """The answer about a clutch that was read already, such as one that is reported."""
    n_died = (given.get("eggs") or {}).get("died")
    return _answer(read, clutch_checked(read, n_died=n_died))


def _answer(read: ReadClutch, checked: CheckedClutch) -> dict[str, Any]:
    return {
        "species": read.loaded.key,
        "sire": {"genes": parent_text(read.loaded, read.sire)},
        "dam": {"genes": parent_text(read.loaded, read.dam)},
        "surprise": _surprise(read, checked),
        "missed": [
            {
                "combination": one.combination,
                "chance": float(one.missed.chance),
                "fraction": str(one.missed.chance),
                "hatchlings": one.missed.n_hatchlings,
                "expected": float(one.missed.expected),
                "chance_of_none": one.missed.chance_of_none,
                "may_be": one.missed.n_possible,
                "cautions": [_caution(caution) for caution in one.cautions],
                "explanations": list(one.explanations),
            }
            for one in checked.missed
        ],
        "hatchlings": _hatchlings(read, checked),
        "not_possible": [
            {"call": group.call, "count": group.count, "reason": _first_reason(group)}
            for group in read.groups
            if group.contradicts_parents
        ],
        "together_impossible": checked.parents.impossible,
        "parents": [
            {
                "parent": one.parent,
                "gene": one.gene,
                "before": float(one.before),
                "after": float(one.after),
                "fraction": str(one.after),
                "verdict": one.verdict,
                "sentence": doubt_sentence(one, checked.surprise.n_hatchlings),
            }
            for one in checked.parents.doubts
        ],
        "cautions": [
            _caution(caution) | {"chance": float(chance), "fraction": str(chance)}
            for caution, chance in checked.cautions
        ],
        "advice": CARE if checked.cautions else None,
        "method": {
            "catalogue": read.loaded.label,
            "unproven_before": float(UNPROVEN_BEFORE),
            "uncertain_calls_used_for_parents": checked.parents.uncertain_calls_used,
        },
    }


def _surprise(read: ReadClutch, checked: CheckedClutch) -> dict[str, Any]:
    found = checked.surprise
    n_wrong = sum(group.count for group in read.groups if group.contradicts_parents)
    return {
        "probability": found.probability,
        "hatchlings": found.n_hatchlings,
        "uncertain": found.n_uncertain,
        "looks_merged": found.merged_looks,
        "loci_left_out": list(found.loci_left_out),
        "sentence": surprise_sentence(
            found.probability,
            n_hatchlings=read.n_hatchlings,
            n_wrong=n_wrong,
            n_compared=found.n_hatchlings,
            together_impossible=checked.parents.impossible,
        ),
    }


def surprise_sentence(
    probability: float | None,
    *,
    n_hatchlings: int,
    n_wrong: int,
    n_compared: int,
    together_impossible: bool,
) -> str:
    """What a clutch looks like beside its parents; what they can not give comes first.

    Parameters
    ----------
    probability
        Of a clutch at most as likely as the hatchlings that were compared; None without any.
    n_wrong
        Hatchlings that the parents as stated can not give as they are called.
    """
    if not n_wrong:
        if together_impossible:
            return TOGETHER_IMPOSSIBLE
        return _ordinary_or_not(probability)
    wrong = (
        f"{n_wrong} of {counted(n_hatchlings, 'hatchling')} can not come from these parents as "
        "stated: a parent or a call is not what it is said to be."
    )
    if probability is None:
        return wrong
    n_rest = n_hatchlings - n_wrong
    other = "one" if n_rest == 1 else n_rest
    rest = f"The other {other}" if n_compared == n_rest else f"In looks alone, {n_compared} of all"
    if together_impossible:
        how = "by itself, but not with those" if n_rest == 1 else "one by one, but not together"
        return f"{wrong} {rest} could come from them {how}."
    they_are, they = ("is", "it") if n_compared == 1 else ("are", "they")
    if probability >= ORDINARY:
        return f"{wrong} {rest} {they_are} as {they} should be."
    often = _how_often(probability)
    return f"{wrong} {rest} {they_are} unusual as well: {often} is as unusual."


def _ordinary_or_not(probability: float | None) -> str:
    if probability is None:
        return "No hatchling of this clutch can be held against these parents."
    if probability >= ORDINARY:
        return (
            "An ordinary clutch: from these parents, at least one clutch in twenty is as unusual "
            "as this one."
        )
    often = _how_often(probability)
    return f"An unusual clutch: from these parents as stated, {often} is as unusual as this one."


def _how_often(probability: float) -> str:
    return f"about 1 clutch in {round(1 / probability):,}" if probability else "no clutch"


def _hatchlings(read: ReadClutch, checked: CheckedClutch) -> list[dict[str, Any]]:
    found = []
    for group, odds in zip(read.groups, checked.parents.reading_odds, strict=True):
        chances = odds.chances if odds else (None,) * len(group.readings)
        found.append(
            group_answer(group)
            | {
                "readings": [
                    {
                        "reading": reading.text,
                        "chance": None if chance is None else float(chance),
                        "fraction": None if chance is None else str(chance),
                        "reason": reading.reason or reading.het_reason,
                    }
                    for reading, chance in zip(group.readings, chances, strict=True)
                ]
            }
        )
    return found


def _first_reason(group: Any) -> str:
    reasons: Iterable[str | None] = (one.reason or one.het_reason for one in group.readings)
    return next((one for one in reasons if one), "")


def _caution(caution: Caution) -> dict[str, Any]:
    return {"about": caution.about, "text": caution.text, "source": caution.source}
