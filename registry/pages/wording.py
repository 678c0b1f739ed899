"""What the pages say in words of their own, beside those of the answers."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

from registry.combinations.choices import Produced, Relation
from registry.pages.templatetags.pages_parts import number
from registry.pools.choices import ExplanationName, State
from registry.wording import were


def headline(answer: Mapping[str, Any]) -> str:
    """Yes, not yet or uncertain, in one sentence."""
    produced, tried = answer["produced"], answer["tried"]
    if answer["state"] == State.NO_REPORTS:
        return "Not yet, as far as anybody told: no clutch that could have shown it was reported."
    expected = were(number(tried["expected"]))
    if produced["answer"] == Produced.YES:
        return f"Yes. {_n(produced['hatchlings'])} hatched where {expected} expected."
    if produced["answer"] == Produced.UNCERTAIN:
        n_possible = produced["hatchlings_if_uncertain_count"]
        surely = "not surely" if n_possible == 1 else "none of them surely"
        return f"Uncertain. {_n(n_possible)} may be it, {surely}, where {expected} expected."
    return f"Not yet. None hatched where {expected} expected."


def _n(count: int) -> str:
    return f"{count:,}"


STATE_MEANINGS: Final[Mapping[str, str]] = {
    State.NO_REPORTS: "There is nothing to judge by yet.",
    State.TOO_EARLY: "These clutches could not have told a shortage, whatever hatched.",
    State.AS_EXPECTED: (
        "There is no sign of a shortage, or none that parents without the genes would not explain."
    ),
    State.WATCH: "By itself, the evidence of a shortage is 20 or more.",
    State.FLAGGED: (
        "It also stands out among all combinations of the species, and would stay on watch without "
        "any one of its keepers."
    ),
}

EXPLANATIONS: Final[Mapping[str, str]] = {
    ExplanationName.AS_CATALOGUED: "Bad luck",
    ExplanationName.PARENT_NOT_CARRYING: "A parent that does not carry it",
    ExplanationName.LOOK_ALIKE: "A look-alike",
    ExplanationName.LINKED_IN_REPULSION: "Linked genes",
    ExplanationName.REDUCED_VIABILITY: "Dies in the egg",
    ExplanationName.GENE_SHORTAGE: "One gene falls short",
}

RELATIONS: Final[Mapping[str, str]] = {
    Relation.PART: "a part of it",
    Relation.SUPER_FORM: "the same with one copy or two",
    Relation.WITH_MORE: "with more genes",
}
