"""A clutch in hand, as the genetics sees it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Any

from genetics.cross.offspring import Pairing
from genetics.evidence.clutch import (
    ClutchSurprise,
    Missed,
    clutch_surprise,
    missed_combinations,
)
from genetics.evidence.evalue import e_value, target_viability
from genetics.evidence.hits import pool_hits
from genetics.evidence.likelihood import pool_likelihood
from genetics.evidence.missing import is_nothing_missing, why_missing
from genetics.evidence.parents import UNPROVEN_CHANCE, GeneDoubt, ParentsAfter, parents_after
from genetics.model.belief import Parent, ParentStatement, belief_of
from genetics.pool.cells import checked_call
from genetics.pool.pool import FamilyClutch, target_row
from genetics.pool.target import Target
from registry.catalogue.bridge import Caution, cautions_of_pairing, cautions_of_target
from registry.clutches.bridge.reports import ReadClutch, family_clutch_new
from registry.pools.bridge.explaining import explanation_to_json
from registry.pools.bridge.rows import Pools, combination_text
from registry.pools.wording import explanation_sentence, number_text
from registry.wording import counted

MOST_MISSED = 60
"""Combinations that are looked at for a check."""

MOST_EXPLAINED = 10
"""Missed combinations, most surprising first, that get their explanations."""


UNPROVEN_BEFORE = UNPROVEN_CHANCE
"""Chance of an unproven gene before the clutch, as the answer names it."""


@dataclass(frozen=True, slots=True)
class MissedAnswer:
    """A possible combination that did not certainly hatch, with its text and cautions."""

    missed: Missed
    combination: str
    cautions: tuple[Caution, ...]
    explanations: tuple[dict[str, Any], ...]


@dataclass(frozen=True, slots=True)
class CheckedClutch:
    """Everything that a check says."""

    surprise: ClutchSurprise
    missed: tuple[MissedAnswer, ...]
    parents: ParentsAfter
    cautions: tuple[tuple[Caution, Fraction], ...]


def clutch_checked(read: ReadClutch, *, n_died: int | None) -> CheckedClutch:
    """A clutch held against its parents, and the parents against the clutch."""
    loaded = read.loaded
    clutch = family_clutch_new(
        read, sire=None, dam=None, season=None, declared=False, n_died=n_died
    )
    missed = missed_combinations(clutch, most=MOST_MISSED)
    return CheckedClutch(
        surprise=clutch_surprise(read.pairing, read.calls),
        missed=tuple(
            MissedAnswer(
                missed=one,
                combination=combination_text(loaded.species, one.target),
                cautions=tuple(cautions_of_target(loaded, one.target)),
                explanations=_explanations(clutch, one.target) if number < MOST_EXPLAINED else (),
            )
            for number, one in enumerate(missed)
        ),
        parents=_parents(read),
        cautions=tuple(cautions_of_pairing(loaded, read.pairing)),
    )


def _explanations(clutch: FamilyClutch, target: Target) -> tuple[dict[str, Any], ...]:
    """The six explanations for one missed combination, by this clutch alone."""
    row = target_row([clutch], target)
    if row is None:
        return ()
    pools: Pools = [(clutch.pairing.species, target, {row: 1})]
    hits = pool_hits(pools)
    evidence = e_value(pool_likelihood(pools, target_viability(target)))
    combination = combination_text(clutch.pairing.species, target)
    nothing_missing = is_nothing_missing(hits, evidence)
    found = [explanation_to_json(one) for one in why_missing(pools, hits, evidence)]
    return tuple(
        one | {"sentence": explanation_sentence(one, combination, nothing_missing=nothing_missing)}
        for one in found
    )


def _parents(read: ReadClutch) -> ParentsAfter:
    species = read.loaded.species
    pairing = Pairing(
        species,
        belief_of(species, read.sire, unproven_chance=UNPROVEN_CHANCE),
        belief_of(species, read.dam, unproven_chance=UNPROVEN_CHANCE),
    )
    doubtful = [*_doubtful("sire", read.sire), *_doubtful("dam", read.dam)]
    return parents_after(pairing, doubtful, [checked_call(pairing, c.call) for c in read.calls])


def _doubtful(role: Parent, statement: ParentStatement) -> Sequence[tuple[Parent, str]]:
    possible = [gene for _key, stated in statement.genes.loci for gene, _chance in stated.possible]
    return [(role, gene) for gene in dict.fromkeys((*possible, *statement.unproven))]


def doubt_sentence(doubt: GeneDoubt, n_hatchlings: int) -> str:
    """What a clutch says of one doubtful gene, in a keeper's words."""
    who = f"The {doubt.parent}"
    if doubt.verdict == "proven":
        return f"{who} carries {doubt.gene}: a hatchling of this clutch needs it."
    if doubt.verdict == "excluded":
        return f"{who} does not carry {doubt.gene}: this clutch could not have hatched from it."
    percent = f"{number_text(float(100 * doubt.after))} %"
    before = f"{number_text(float(100 * doubt.before))} %"
    if doubt.after == doubt.before:
        return f"This clutch says nothing about {doubt.gene} in the {doubt.parent}: still {before}."
    return (
        f"{who} carries {doubt.gene} with a chance of {percent} after "
        f"{counted(n_hatchlings, 'hatchling')}; "
        f"it was {before}."
    )
