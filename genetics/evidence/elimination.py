"""In what order the animals of a family are summed out, and how much that takes.

A family is a graph: animals that have hatchlings together are tied. Summing over what one animal
may carry leaves a table over what its mates may carry, so a family that is a chain or a tree costs
the states of a pair for every pair, whatever its size; only rings cost more. The animal whose table
is the smallest goes first. (Variable elimination: U. Bertele and F. Brioschi 1972, Nonserial
Dynamic Programming.)
"""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from heapq import heapify, heappop, heappush
from typing import TYPE_CHECKING, Final, TypeVar

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Numbers = NDArray[np.int64]

MOST_PAIR_STATES: Final = 65_536
"""States of a sire times states of a dam that are listed at all; three genes of three loci have
4,096 at most, three linked ones 65,536."""


@dataclass(frozen=True, eq=False)
class Tie:
    """Two animals with hatchlings together.

    ``table`` has a row for each state of ``one`` and a column for each state of ``other``; equal
    numbers mean that their hatchlings have equal chances.
    """

    one: int
    other: int
    table: Numbers


@dataclass(frozen=True, slots=True)
class Step:
    """One animal is summed out; what is left is a table over the states of ``mates``.

    ``n_states`` are the states of the animal and its mates together.
    """

    animal: int
    mates: tuple[int, ...]
    n_states: int


def alike(n_states: Sequence[int], ties: Sequence[Tie]) -> list[Numbers]:
    """Of every animal, which of its states act alike: numbers from 0, one for each state.

    States are alike if they give equal chances with every state of every mate.
    """
    seen: list[list[Numbers]] = [[] for _animal in n_states]
    for tie in ties:
        seen[tie.one].append(tie.table)
        seen[tie.other].append(tie.table.T)
    found = []
    for n, tables in zip(n_states, seen, strict=True):
        if tables:
            _rows, numbers = np.unique(np.hstack(tables), axis=0, return_inverse=True)
            found.append(np.asarray(numbers, dtype=np.int64).reshape(n))
        else:
            found.append(np.zeros(n, dtype=np.int64))
    return found


def first_of_each(numbers: Numbers) -> Numbers:
    """Place of the first state of each number."""
    return np.asarray(np.unique(numbers, return_index=True)[1], dtype=np.int64)


def merged(ties: Sequence[Tie], numbers: Sequence[Numbers]) -> list[Tie]:
    """The ties between states that are alike: one row or column for each number."""
    places = [first_of_each(one) for one in numbers]
    return [
        Tie(tie.one, tie.other, tie.table[np.ix_(places[tie.one], places[tie.other])])
        for tie in ties
    ]


def elimination(
    n_states: Sequence[int], tied: Iterable[tuple[int, int]], *, most: int
) -> tuple[Step, ...] | None:
    """The order in which animals of more than one state are summed out, smallest table first.

    Parameters
    ----------
    most
        Entries of the largest table. ``None`` comes back as soon as one would be larger, so the
        work is at most animals times ``log2(most)`` squared.
    """
    near = _graph(n_states, tied)

    def size(animal: int) -> int:
        found = n_states[animal]
        for mate in near[animal]:
            found *= n_states[mate]
            if found > most:
                return most + 1
        return found

    sizes = {animal: size(animal) for animal in near}
    waiting = [(n, animal) for animal, n in sizes.items()]
    heapify(waiting)
    steps = []
    while waiting:
        n, animal = heappop(waiting)
        if animal not in near or sizes[animal] != n:
            continue
        if n > most:
            return None
        mates = near.pop(animal)
        steps.append(Step(animal=animal, mates=tuple(sorted(mates)), n_states=n))
        for mate in mates:
            near[mate] = (near[mate] | mates) - {mate, animal}
        for mate in mates:
            sizes[mate] = size(mate)
            heappush(waiting, (sizes[mate], mate))
    return tuple(steps)


def _graph(n_states: Sequence[int], tied: Iterable[tuple[int, int]]) -> dict[int, set[int]]:
    """The mates of every animal of more than one state; the others tie nothing together."""
    near: dict[int, set[int]] = {place: set() for place, n in enumerate(n_states) if n > 1}
    for one, other in tied:
        if one in near and other in near:
            near[one].add(other)
            near[other].add(one)
    return near


Row = TypeVar("Row", bound=Hashable)


def unaffordable(costs: Mapping[Row, int], *, small: int, most: int) -> frozenset[Row]:
    """Families of a pool to take apart, so that the others cost at most ``most`` together.

    Those of a cost up to ``small`` are never among them, and not counted. The costliest go first.
    It hangs on what was paired and on what kinds of calls there were, not on which of them is a
    hit more often.
    """
    large = sorted(
        ((cost, repr(row), row) for row, cost in costs.items() if cost > small),
        key=lambda one: one[:2],
    )
    left, found = most, []
    for cost, _text, row in large:
        left -= cost
        if left < 0:
            found.append(row)
    return frozenset(found)
