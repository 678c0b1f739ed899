"""What is flagged in a community: the pool code from end to end, without the database.

The steps are those of the service: contributions of each family, the evidence on every target,
wholes held against their parts and parts against their wholes, weighted e-BH, and three keepers.

``python -m tests.statistics.community_flags [--seeds 20]`` prints what was flagged, and why.
"""

from __future__ import annotations

import argparse
import sys
from collections import Counter, defaultdict
from dataclasses import dataclass, field

from genetics.evidence.ebh import SIZE_WEIGHTS, discoveries
from genetics.evidence.evalue import WATCH_E_VALUE, e_value, target_viability
from genetics.evidence.explanations import Explanation, ExplanationResult, explanations
from genetics.evidence.likelihood import pool_likelihood
from genetics.evidence.lower_order import Beyond, beyond_parts, beyond_whole, is_part
from genetics.evidence.verdict import FEWEST_KEEPERS, State, verdict_of
from genetics.model.species import Species
from genetics.pool.pool import PoolRow, family_contributions
from genetics.pool.target import Target
from tests.statistics.community import (
    LETHAL,
    LOOK_ALIKE,
    ReportedFamily,
    community,
    species,
)

Pools = list[tuple[Species, Target, Counter[PoolRow]]]


@dataclass(eq=False)
class Pooled:
    """One target with the rows, families and keepers behind it."""

    species: Species
    target: Target
    by_family: dict[int, PoolRow] = field(default_factory=dict)
    keepers: set[int] = field(default_factory=set)
    log10: float = 0.0

    def pools(self, *, without: Pooled | None = None) -> Pools:
        """The pool; of families alone that another target does not hear from, if one is given."""
        left_out = without.by_family if without else {}
        rows = Counter(row for number, row in self.by_family.items() if number not in left_out)
        return [(self.species, self.target, rows)] if rows else []


@dataclass(frozen=True, eq=False)
class Flag:
    """A flagged target, with its best explanation."""

    genes: frozenset[str]
    text: str
    log10: float
    reason: ExplanationResult


@dataclass(frozen=True, eq=False)
class Outcome:
    """What came of a community: flags, and the watched targets that others explain."""

    n_targets: int
    flags: tuple[Flag, ...]
    explained: dict[str, Beyond]

    @property
    def false_flags(self) -> tuple[Flag, ...]:
        """Flags of anything but the two pairs that are really short."""
        return tuple(
            one for one in self.flags if one.genes not in {frozenset(LETHAL), frozenset(LOOK_ALIKE)}
        )

    def finds_both_with_reasons(self) -> bool:
        """Whether both pairs are flagged, each with the right reason first."""
        reasons = {one.genes: (one.reason.name, one.reason.called_as) for one in self.flags}
        return reasons.get(frozenset(LETHAL)) == (
            Explanation.REDUCED_VIABILITY,
            None,
        ) and reasons.get(frozenset(LOOK_ALIKE)) == (Explanation.LOOK_ALIKE, LOOK_ALIKE[0])


def pooled_targets(species: Species, families: list[ReportedFamily]) -> list[Pooled]:
    """Every target that a family informs."""
    found: dict[str, Pooled] = {}
    for number, family in enumerate(families):
        for one in family_contributions(family.clutches):
            pooled = found.setdefault(one.target.key, Pooled(species, one.target))
            pooled.by_family[number] = one.row
            pooled.keepers.add(family.keeper)
    return [found[key] for key in sorted(found)]


def outcome(species: Species, families: list[ReportedFamily]) -> Outcome:
    """Flags of a community, strongest first."""
    every = pooled_targets(species, families)
    for one in every:
        one.log10 = e_value(pool_likelihood(one.pools(), target_viability(one.target))).log10
    # A verdict says more than the evidence and takes longer; by itself it can not be a flag.
    watched = [
        one
        for one in every
        if 10**one.log10 >= WATCH_E_VALUE and verdict_of(one.pools()).state is State.WATCH
    ]
    explained = explained_by_others(watched)
    return Outcome(
        n_targets=len(every),
        flags=tuple(
            Flag(
                genes=frozenset(one.target.loci),
                text=one.target.key,
                log10=one.log10,
                reason=explanations(one.pools())[0],
            )
            for one in sorted(_flagged(every, watched, explained), key=lambda one: -one.log10)
        ),
        explained={one.target.key: beyond for one, beyond in explained.items()},
    )


def explained_by_others(watched: list[Pooled]) -> dict[Pooled, Beyond]:
    """Wholes that a part explains; then, among the rest, parts that a whole explains."""
    explained = {}
    for one in watched:
        beyond = beyond_parts(one.pools())
        if beyond is not None and 10**beyond.log10 < WATCH_E_VALUE:
            explained[one] = beyond
    news = [one for one in watched if one not in explained]
    for part in news:
        for whole in news:
            if part not in explained and is_part(part.target, whole.target):
                beyond = beyond_whole(part.pools(without=whole), whole.pools(), part.target)
                if 10**beyond.log10 < WATCH_E_VALUE:
                    explained[part] = beyond
    return explained


def _flagged(
    every: list[Pooled], watched: list[Pooled], explained: dict[Pooled, Beyond]
) -> list[Pooled]:
    candidates = {one: one.log10 for one in watched if one not in explained}
    weights = {one: SIZE_WEIGHTS[one.target.n_factors] for one in candidates}
    others: defaultdict[float, int] = defaultdict(int)
    for one in every:
        if one not in candidates:
            others[SIZE_WEIGHTS[one.target.n_factors]] += 1
    return [
        one
        for one in discoveries(candidates, weights, others=others)
        if len(one.keepers) >= FEWEST_KEEPERS
    ]


def main() -> None:
    parser = argparse.ArgumentParser(description="Flags of simulated communities.")
    parser.add_argument("--seeds", type=int, default=20, help="communities, seeds from 1 on")
    options = parser.parse_args()
    dusk_newt = species()
    found, n_false = 0, 0
    for seed in range(1, options.seeds + 1):
        one = outcome(dusk_newt, community(dusk_newt, seed=seed))
        found += one.finds_both_with_reasons()
        n_false += len(one.false_flags)
        flags = "; ".join(
            f"{flag.text} (10^{flag.log10:.1f}, {flag.reason.name} {flag.reason.probability:.2f})"
            for flag in one.flags
        )
        sys.stdout.write(
            f"{seed:>3}: {one.n_targets} targets, {len(one.explained)} explained by another; "
            f"flagged: {flags}\n"
        )
    sys.stdout.write(
        f"Both pairs with the right reason first in {found} of {options.seeds} communities; "
        f"{n_false} false flags in all.\n"
    )


if __name__ == "__main__":
    main()
