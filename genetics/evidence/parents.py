"""What each uncertain parent probably carries, now that the clutch has hatched: exact Bayes."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache
from itertools import product
from math import prod
from typing import TYPE_CHECKING, Literal

from genetics.cross.offspring import Pairing, group_offspring
from genetics.model.locus import WILD_LOOK

if TYPE_CHECKING:
    from genetics.model.belief import HaplotypePair, Parent
    from genetics.model.linkage import LinkageGroup
    from genetics.model.species import Sex, Species
    from genetics.pool.cells import CheckedCall, Reading

UNPROVEN_CHANCE = Fraction(9, 10)
"""Chance, before the clutch, that a stated but unproven gene is there. A working value of this
project, no source; the answer names it."""

MOST_JOINT_STATES = 4_096
"""Latent states that are summed over when uncertain calls tie linkage groups together."""

MOST_JOINT_LOOKS = 400_000
"""Latent states, times readings of all uncertain calls, times linkage groups: about a second."""


@dataclass(frozen=True, slots=True)
class GeneDoubt:
    """A gene of one parent that was not certain, before and after the clutch.

    Chances that the parent carries it. ``verdict`` is ``proven`` at 1 (a hatchling needs it),
    ``excluded`` at 0, else ``open``.
    """

    parent: Parent
    gene: str
    before: Fraction
    after: Fraction

    @property
    def verdict(self) -> Literal["proven", "excluded", "open"]:
        if self.after == 1:
            return "proven"
        return "open" if self.after else "excluded"


@dataclass(frozen=True, slots=True)
class ReadingOdds:
    """Chances of the readings of one uncertain call, in its order; they sum to 1.

    All 0 if the parents can give none of them.
    """

    chances: tuple[Fraction, ...]


@dataclass(frozen=True, slots=True)
class ParentsAfter:
    """Doubts resolved as far as the clutch goes, and the odds of each uncertain call.

    ``uncertain_calls_used`` is false when the latent states were too many to sum over with the
    uncertain calls, which were then left out. ``impossible`` says that the calls together can not
    come from these parents, though each of them could; the doubts are then left as they were.
    """

    doubts: tuple[GeneDoubt, ...]
    reading_odds: tuple[ReadingOdds | None, ...]
    uncertain_calls_used: bool
    impossible: bool


def parents_after(
    pairing: Pairing, doubtful: Sequence[tuple[Parent, str]], calls: Sequence[CheckedCall]
) -> ParentsAfter:
    """Update what the parents carry by every call that they can give.

    Parameters
    ----------
    pairing
        With possible hets and unproven genes at their chances (see ``belief_of``).
    doubtful
        (parent, gene) to answer for, in the order of the answer.
    calls
        The clutch. Calls that contradict the parents are left out. An uncertain call weighs each
        reading by the keeper's own odds.

    Notes
    -----
    The reading odds of a call are the pairing's odds, with the parents as the certain calls leave
    them, times the keeper's weights.
    """
    update = _Update.of(pairing, calls)
    by_group = update.after_certain_calls()
    odds = tuple(
        update.odds(call, by_group) if len(call.call.readings) > 1 else None for call in calls
    )
    uncertain = [call for call in update.calls if len(call.possible_readings) > 1]
    n_states = update.n_joint_states()
    n_looks = n_states * sum(len(call.possible_readings) for call in uncertain) * len(update.groups)
    use_uncertain = (
        bool(uncertain) and n_states <= MOST_JOINT_STATES and n_looks <= MOST_JOINT_LOOKS
    )
    before = update.carrying(doubtful, [tuple(w for *_pair, w in s) for s in update.states])
    after: list[Fraction] | None = None
    if all(sum(weights) for weights in by_group):
        after = (
            update.joint_carrying(doubtful, by_group, uncertain)
            if use_uncertain
            else update.carrying(doubtful, by_group)
        )
    return ParentsAfter(
        doubts=tuple(
            GeneDoubt(parent=parent, gene=gene, before=old, after=new)
            for (parent, gene), old, new in zip(doubtful, before, after or before, strict=True)
        ),
        reading_odds=odds,
        uncertain_calls_used=use_uncertain or not uncertain,
        impossible=after is None,
    )


@lru_cache(maxsize=16384)
def look_chances(
    species: Species, group: LinkageGroup, sire: HaplotypePair, dam: HaplotypePair
) -> Mapping[tuple[tuple[str, ...], Sex | None], Fraction]:
    """Looks at one group, by sex in the sex group, of two known parents -> chance."""
    found: dict[tuple[tuple[str, ...], Sex | None], Fraction] = {}
    loci = [species.by_key[key] for key in group.loci]
    for offspring, chance in group_offspring(species, group, sire, dam):
        looks = tuple(locus.look(pair) for locus, pair in zip(loci, offspring.pairs, strict=True))
        key = (looks, offspring.sex)
        found[key] = found.get(key, Fraction(0)) + chance
    return found


@lru_cache(maxsize=65536)
def look_chance(
    species: Species,
    group: LinkageGroup,
    sire: HaplotypePair,
    dam: HaplotypePair,
    looks: tuple[str, ...],
    sex: Sex | None,
) -> Fraction:
    """Chance of one look at one group; with ``sex``, of look and sex together."""
    return sum(
        (
            chance
            for (shown, offspring_sex), chance in look_chances(species, group, sire, dam).items()
            if shown == looks and (sex is None or offspring_sex in {None, sex})
        ),
        start=Fraction(0),
    )


State = tuple["HaplotypePair", "HaplotypePair", Fraction]


@dataclass(frozen=True, eq=False)
class _Update:
    pairing: Pairing
    groups: tuple[LinkageGroup, ...]
    states: tuple[tuple[State, ...], ...]
    calls: tuple[CheckedCall, ...]

    @classmethod
    def of(cls, pairing: Pairing, calls: Sequence[CheckedCall]) -> _Update:
        groups = pairing.groups_in_play()
        return cls(
            pairing=pairing,
            groups=groups,
            states=tuple(tuple(pairing.latent_states(group)) for group in groups),
            calls=tuple(call for call in calls if not call.contradicts_parents),
        )

    def n_joint_states(self) -> int:
        return prod(len(states) for states in self.states)

    def _chance(self, place: int, state: State, reading: Reading, sex: Sex | None) -> Fraction:
        group = self.groups[place]
        looks = tuple(reading.get(key, WILD_LOOK) for key in group.loci)
        return look_chance(self.pairing.species, group, state[0], state[1], looks, sex)

    def after_certain_calls(self) -> list[tuple[Fraction, ...]]:
        """Weights of each group's states, times the chance of every certain call; not scaled."""
        certain = [call for call in self.calls if len(call.possible_readings) == 1]
        return [
            tuple(
                state[2]
                * prod(
                    (
                        self._chance(place, state, call.possible_readings[0], call.call.sex)
                        ** call.call.count
                        for call in certain
                    ),
                    start=Fraction(1),
                )
                for state in states
            )
            for place, states in enumerate(self.states)
        ]

    def odds(self, call: CheckedCall, by_group: Sequence[Sequence[Fraction]]) -> ReadingOdds:
        weights = []
        for number, (reading, impossible) in enumerate(
            zip(call.call.readings, call.impossible, strict=True)
        ):
            weight = Fraction(0) if impossible else call.call.weight(number)
            for place, states in enumerate(self.states):
                if weight:
                    total = sum(by_group[place])
                    shown = sum(
                        self._chance(place, state, reading, call.call.sex) * after
                        for state, after in zip(states, by_group[place], strict=True)
                    )
                    weight *= Fraction(shown) / total if total else Fraction(0)
            weights.append(weight)
        total = sum(weights, start=Fraction(0))
        return ReadingOdds(chances=tuple(w / total if total else w for w in weights))

    def carrying(
        self, doubtful: Sequence[tuple[Parent, str]], by_group: Sequence[Sequence[Fraction]]
    ) -> list[Fraction]:
        """Chance of each doubtful gene when every group stands by itself."""
        found = []
        for parent, gene in doubtful:
            place = self._place(gene)
            weights = by_group[place]
            total = sum(weights, start=Fraction(0))
            having = sum(
                (
                    weight
                    for state, weight in zip(self.states[place], weights, strict=True)
                    if _carries(state, parent, gene)
                ),
                start=Fraction(0),
            )
            found.append(having / total)
        return found

    def joint_carrying(
        self,
        doubtful: Sequence[tuple[Parent, str]],
        by_group: Sequence[Sequence[Fraction]],
        uncertain: Sequence[CheckedCall],
    ) -> list[Fraction] | None:
        """Chance of each doubtful gene, with the uncertain calls, over all groups jointly.

        None if nothing that the parents may carry gives all calls.
        """
        having = [Fraction(0)] * len(doubtful)
        total = Fraction(0)
        places = [self._place(gene) for _parent, gene in doubtful]
        for chosen in product(*(range(len(states)) for states in self.states)):
            weight = prod(
                (by_group[place][number] for place, number in enumerate(chosen)),
                start=Fraction(1),
            )
            states = [self.states[place][number] for place, number in enumerate(chosen)]
            for call in uncertain:
                if weight:
                    weight *= self._call_chance(call, states) ** call.call.count
            total += weight
            for number, (parent, gene) in enumerate(doubtful):
                if _carries(states[places[number]], parent, gene):
                    having[number] += weight
        return [one / total for one in having] if total else None

    def _call_chance(self, call: CheckedCall, states: Sequence[State]) -> Fraction:
        """Chance of one hatchling that is one of the readings, by the keeper's odds."""
        found = Fraction(0)
        for number, reading in enumerate(call.call.readings):
            if not call.impossible[number]:
                chance = call.call.weight(number)
                for place, state in enumerate(states):
                    if chance:
                        chance *= self._chance(place, state, reading, call.call.sex)
                found += chance
        return found

    def _place(self, gene: str) -> int:
        species = self.pairing.species
        return self.groups.index(species.group_of[species.locus_of[gene].key])


def _carries(state: State, parent: Parent, gene: str) -> bool:
    haplotypes = state[0] if parent == "sire" else state[1]
    return any(gene in haplotype for haplotype in haplotypes)
