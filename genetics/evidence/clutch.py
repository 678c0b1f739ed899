"""One clutch in hand: how surprising it is, and which combinations it could have had."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import product
from math import prod
from typing import TYPE_CHECKING

from genetics.cross.offspring import Pairing, chance_law, mean_chance
from genetics.evidence.fit import ClassChances, SurpriseResult, surprise
from genetics.evidence.hits import RowHits, row_hits
from genetics.evidence.parents import look_chances
from genetics.evidence.tail import TailResult, pooled_tail
from genetics.model.locus import WILD_LOOK
from genetics.pool.pool import FamilyClutch, family_contributions

if TYPE_CHECKING:
    from genetics.model.linkage import LinkageGroup
    from genetics.pool.cells import CheckedCall
    from genetics.pool.target import Target

MOST_ENTRIES = 50_000
"""Looks times latent states of the table that a clutch is tested against."""

Looks = tuple[str, ...]


@dataclass(frozen=True, slots=True)
class ClutchSurprise:
    """How surprising a clutch is as a whole.

    ``probability`` is the chance of a clutch at most as likely as this one from these parents;
    None where nothing can be compared, which is neither for them nor against them.
    Uncertain calls (``n_uncertain`` hatchlings) count as their first possible reading; calls that
    the parents can not give are left out. ``loci_left_out`` names loci that were not looked at
    because the table would have been too large; ``merged_looks`` see ``surprise``.
    """

    probability: float | None
    n_hatchlings: int
    n_uncertain: int
    merged_looks: int
    loci_left_out: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Missed:
    """A combination that was possible and did not certainly hatch.

    ``chance`` is that of one hatchling over what the parents may carry; ``chance_of_none`` that
    of a clutch of this size without any; ``n_possible`` counts hatchlings that may be one.
    """

    target: Target
    chance: Fraction
    n_hatchlings: int
    n_possible: int
    expected: Fraction
    chance_of_none: float


def clutch_surprise(pairing: Pairing, calls: Sequence[CheckedCall]) -> ClutchSurprise:
    """Exact test of a whole clutch against its parents; looks only, the sexes together."""
    possible = [call for call in calls if call.possible_readings and call.call.count]
    groups = [group for group in pairing.groups_in_play() if len(_looks(pairing, group)) > 1]
    tested, left_out = _within_limit(pairing, groups)
    counts: Counter[tuple[Looks, ...]] = Counter()
    for call in possible:
        reading = call.possible_readings[0]
        shown = tuple(tuple(reading.get(key, WILD_LOOK) for key in group.loci) for group in tested)
        counts[shown] += call.call.count
    result = _tested(pairing, tested, counts) if tested and counts else None
    # Parents whose hatchlings all look alike can give nothing else: these are just as they must be.
    all_alike = bool(counts) and not groups
    return ClutchSurprise(
        probability=result.probability if result else 1.0 if all_alike else None,
        n_hatchlings=sum(counts.values()),
        n_uncertain=sum(c.call.count for c in possible if len(c.possible_readings) > 1),
        merged_looks=result.merged_looks if result else 0,
        loci_left_out=tuple(key for group in left_out for key in group.loci),
    )


def _tested(
    pairing: Pairing, groups: Sequence[LinkageGroup], counts: Mapping[tuple[Looks, ...], int]
) -> SurpriseResult:
    looks = list(product(*(sorted(_looks(pairing, group)) for group in groups)))
    states = [list(_look_laws(pairing, group).items()) for group in groups]
    rows, weights = [], []
    for chosen in product(*states):
        weights.append(prod((weight for _law, weight in chosen), start=Fraction(1)))
        laws = [dict(law) for law, _weight in chosen]
        rows.append(
            tuple(
                prod(
                    (law.get(part, Fraction(0)) for law, part in zip(laws, look, strict=True)),
                    start=Fraction(1),
                )
                for look in looks
            )
        )
    return surprise(
        class_chances=ClassChances(chances=tuple(rows), weights=tuple(weights)),
        counts=[counts.get(look, 0) for look in looks],
    )


LookLaw = tuple[tuple[Looks, Fraction], ...]


def _look_laws(pairing: Pairing, group: LinkageGroup) -> Mapping[LookLaw, Fraction]:
    """Law of the looks at one group, sexes together -> weight of the parents that give it."""
    found: dict[LookLaw, Fraction] = {}
    for sire, dam, weight in pairing.latent_states(group):
        law: dict[Looks, Fraction] = {}
        for (looks, _sex), chance in look_chances(pairing.species, group, sire, dam).items():
            law[looks] = law.get(looks, Fraction(0)) + chance
        key = tuple(sorted(law.items()))
        found[key] = found.get(key, Fraction(0)) + weight
    return found


def _looks(pairing: Pairing, group: LinkageGroup) -> set[Looks]:
    return {looks for law in _look_laws(pairing, group) for looks, chance in law if chance}


def _within_limit(
    pairing: Pairing, groups: Sequence[LinkageGroup]
) -> tuple[list[LinkageGroup], list[LinkageGroup]]:
    """Groups to test, smallest tables first, and those that no longer fit."""
    size, tested, left_out = 1, [], []
    sizes = {g: len(_looks(pairing, g)) * len(_look_laws(pairing, g)) for g in groups}
    for group in sorted(groups, key=sizes.__getitem__):
        if size * sizes[group] <= MOST_ENTRIES:
            size *= sizes[group]
            tested.append(group)
        else:
            left_out.append(group)
    return tested, left_out


def missed_combinations(clutch: FamilyClutch, *, most: int) -> tuple[Missed, ...]:
    """Combinations that could have hatched and certainly did not, most surprising first.

    Parameters
    ----------
    most
        Length of the answer. The likeliest ones are looked at, single genes before pairs and
        pairs before triples where the chances are equal.
    """
    contributions = [
        one for one in family_contributions([clutch]) if not one.n_hits and one.n_hatchlings
    ]
    by_chance = sorted(
        contributions,
        key=lambda one: (
            -mean_chance(chance_law(clutch.pairing, one.target.wanted)),
            one.target.n_factors,
            one.target.key,
        ),
    )
    found = []
    for one in by_chance[:most]:
        hits = row_hits(clutch.pairing.species, one.target, one.row)
        found.append(
            Missed(
                target=one.target,
                chance=mean_chance(chance_law(clutch.pairing, one.target.wanted)),
                n_hatchlings=one.n_hatchlings,
                n_possible=one.n_hits_possible,
                expected=hits.expected,
                chance_of_none=_tail(hits, 0).chance_of_none,
            )
        )
    return tuple(sorted(found, key=lambda one: (one.chance_of_none, one.target.n_factors)))


def _tail(hits: RowHits, n_hits: int) -> TailResult:
    return pooled_tail(
        hits=n_hits,
        hatchlings_by_chance=dict(hits.hatchlings_by_chance),
        laws=Counter(hits.laws),
    )
