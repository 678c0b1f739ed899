"""Hatchlings into cells: which factors of a target each one shows, as far as the calls tell."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import TYPE_CHECKING

from genetics.model.locus import WILD_LOOK
from genetics.pool.target import Target, look_bits

if TYPE_CHECKING:
    from genetics.cross.offspring import Pairing
    from genetics.model.linkage import LinkageGroup
    from genetics.model.species import Sex, Species

Reading = Mapping[str, str]
"""What a call says is seen: locus key -> look; loci that are not named look wild type."""


@dataclass(frozen=True, slots=True)
class Call:
    """Hatchlings that were called alike.

    ``readings`` are the possible readings of the call, the keeper's first choice first; more
    than one if the keeper was not sure. ``weights`` are the keeper's own odds of the readings,
    each above 0; empty if none were given, which makes them equal.
    """

    readings: tuple[Reading, ...]
    count: int
    sex: Sex | None = None
    weights: tuple[Fraction, ...] = ()

    def weight(self, place: int) -> Fraction:
        """The keeper's odds of one reading, relative to the others."""
        return self.weights[place] if self.weights else Fraction(1)


@dataclass(frozen=True, slots=True)
class CellCount:
    """Hatchlings of one cell of a target.

    ``cells`` holds the cell, or the several cells that an uncertain call covers, as numbers whose
    bits are the factors shown. ``sex`` is set only where the target is sex-linked and the sex is
    known: the chances are then those of that sex.
    """

    sex: Sex | None
    cells: tuple[int, ...]
    count: int


@dataclass(frozen=True, slots=True)
class CheckedCall:
    """A call held against the parents.

    ``impossible`` lists, for each reading, the linkage groups at which the parents as stated can
    not give it.
    """

    call: Call
    impossible: tuple[tuple[LinkageGroup, ...], ...]

    @property
    def contradicts_parents(self) -> bool:
        """Whether no reading of the call is possible."""
        return all(self.impossible)

    @property
    def possible_readings(self) -> tuple[Reading, ...]:
        return tuple(
            reading
            for reading, groups in zip(self.call.readings, self.impossible, strict=True)
            if not groups
        )


def checked_call(pairing: Pairing, call: Call) -> CheckedCall:
    """Hold every reading of a call against what the parents can give."""
    return CheckedCall(
        call=call,
        impossible=tuple(_impossible_groups(pairing, r, call.sex) for r in call.readings),
    )


def _impossible_groups(
    pairing: Pairing, reading: Reading, sex: Sex | None
) -> tuple[LinkageGroup, ...]:
    in_play = pairing.groups_in_play()
    found = []
    for group in pairing.species.groups:
        looks = tuple(reading.get(key, WILD_LOOK) for key in group.loci)
        if group not in in_play:
            if any(looks):
                found.append(group)
        elif not _can_show(pairing, group, looks, sex):
            found.append(group)
    return tuple(found)


def _can_show(
    pairing: Pairing, group: LinkageGroup, looks: tuple[str, ...], sex: Sex | None
) -> bool:
    loci = [pairing.species.by_key[key] for key in group.loci]
    return any(
        chance > 0
        and (sex is None or offspring.sex in {None, sex})
        and all(
            locus.look(pair) == look
            for locus, pair, look in zip(loci, offspring.pairs, looks, strict=True)
        )
        for offspring, chance in pairing.mean_offspring(group).items()
    )


def cell_counts(
    species: Species, target: Target, calls: Sequence[CheckedCall]
) -> tuple[CellCount, ...]:
    """Hatchlings of one clutch by cell of a target, each combination once, in a fixed order.

    A reading that the parents can not give is left aside if the call has a possible one. If it
    has none, the call still counts for targets away from the contradicted loci and is left out
    of the others.
    """
    groups = {species.group_of[key] for key in target.loci}
    by_sex = any(group.is_sex_group for group in groups)
    counts: Counter[tuple[Sex | None, tuple[int, ...]]] = Counter()
    for checked in calls:
        readings = checked.possible_readings or tuple(
            reading
            for reading, impossible in zip(checked.call.readings, checked.impossible, strict=True)
            if groups.isdisjoint(impossible)
        )
        if readings:
            cells = sorted({cell_of(species, target, reading) for reading in readings})
            sex = checked.call.sex if by_sex else None
            counts[sex, tuple(cells)] += checked.call.count
    return tuple(
        CellCount(sex=sex, cells=cells, count=count)
        for (sex, cells), count in sorted(
            counts.items(), key=lambda item: (item[0][0] or "", item[0][1])
        )
    )


def cell_of(species: Species, target: Target, reading: Reading) -> int:
    """Number of the cell that a hatchling of this reading is in."""
    return sum(
        look_bits(species, factor, reading.get(factor.locus, WILD_LOOK)) << shift
        for factor, shift in zip(target.factors, target.shifts, strict=True)
    )


def n_hits(target: Target, counts: Sequence[CellCount]) -> tuple[int, int]:
    """Hatchlings certainly in the hit cell, and those that are or may be."""
    hit_cell = target.n_cells - 1
    certain = sum(one.count for one in counts if one.cells == (hit_cell,))
    possible = sum(one.count for one in counts if hit_cell in one.cells)
    return certain, possible
