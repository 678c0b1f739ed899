"""Clutches of one target into rows behind each of which stand three keepers or more."""

from __future__ import annotations

import uuid
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, field

from registry.exports.bridge import Configuration, CountedClutch
from registry.pools.choices import FEW_KEEPERS


@dataclass(slots=True)
class Counts:
    """What some clutches of a target count together, and whose they are."""

    keepers: set[uuid.UUID] = field(default_factory=set)
    families: set[uuid.UUID] = field(default_factory=set)
    catalogues: set[str] = field(default_factory=set)
    n_clutches: int = 0
    n_declared: int = 0
    n_with_hit: int = 0
    n_hits: int = 0
    n_hits_possible: int = 0
    n_died: int = 0
    n_eggs_counted: int = 0
    cells: Counter[str] = field(default_factory=Counter)

    @property
    def n_hatchlings(self) -> int:
        """Hatchlings of all cells."""
        return self.cells.total()

    @property
    def is_of_few(self) -> bool:
        """Whether only one or two keepers stand behind the counts."""
        return len(self.keepers) < FEW_KEEPERS

    def add(self, clutch: CountedClutch, *, family: uuid.UUID, keeper: uuid.UUID) -> None:
        """Count one more clutch."""
        self.keepers.add(keeper)
        self.families.add(family)
        self.catalogues.add(clutch.configuration.catalogue)
        self.n_clutches += 1
        self.n_declared += clutch.is_declared
        self.n_with_hit += clutch.n_hits > 0
        self.n_hits += clutch.n_hits
        self.n_hits_possible += clutch.n_hits_possible
        if clutch.n_died is not None:
            self.n_died += clutch.n_died
            self.n_eggs_counted += 1
        for cell, count in clutch.cells:
            self.cells[cell] += count

    def add_all(self, other: Counts) -> None:
        """Count everything that the other counts."""
        self.keepers |= other.keepers
        self.families |= other.families
        self.catalogues |= other.catalogues
        self.n_clutches += other.n_clutches
        self.n_declared += other.n_declared
        self.n_with_hit += other.n_with_hit
        self.n_hits += other.n_hits
        self.n_hits_possible += other.n_hits_possible
        self.n_died += other.n_died
        self.n_eggs_counted += other.n_eggs_counted
        self.cells += other.cells


Part = tuple[CountedClutch, uuid.UUID, uuid.UUID]
"""A clutch with its family and its keeper."""


def merged_rows(parts: Iterable[Part]) -> list[tuple[Configuration | None, Counts]]:
    """Rows of one target in a fixed order: configurations, then the merged rest under None.

    Every row has three keepers or more, unless the whole target has fewer: then it is one row. The
    total of a target is public, so what is left when all published rows are taken from it is the
    merged rest; where the small configurations have fewer than three keepers together, the
    published one with the fewest keepers joins them. Which one that is depends on the counts and
    the texts alone, never on the order in which the clutches came in.
    """
    by_configuration: dict[Configuration, Counts] = {}
    for clutch, family, keeper in parts:
        counts = by_configuration.setdefault(clutch.configuration, Counts())
        counts.add(clutch, family=family, keeper=keeper)
    rest = Counts()
    large = []
    for configuration, counts in sorted(by_configuration.items()):
        if counts.is_of_few:
            rest.add_all(counts)
        else:
            large.append((configuration, counts))
    if rest.n_clutches and rest.is_of_few and large:
        joining = min(large, key=lambda one: (len(one[1].keepers), one[1].n_hatchlings, one[0]))
        large.remove(joining)
        rest.add_all(joining[1])
    return [*large, *([(None, rest)] if rest.n_clutches else [])]
