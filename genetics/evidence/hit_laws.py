"""Exact law of the hits of one family, with whole numbers packed into long integers.

All chances of a family are brought to one denominator. A polynomial is then one long integer with a
slot of so many bits for every coefficient: coefficients are never negative and never larger than
the denominator, so slots do not run over, and products and sums are those of integers (Kronecker's
substitution).
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache
from itertools import product
from math import lcm, prod
from typing import TYPE_CHECKING, Final

import numpy as np

from genetics.cross.offspring import group_chance
from genetics.evidence.elimination import (
    MOST_PAIR_STATES,
    Step,
    Tie,
    alike,
    elimination,
    merged,
)
from genetics.evidence.latent import target_groups
from genetics.model.belief import belief_of

if TYPE_CHECKING:
    from genetics.evidence.elimination import Numbers
    from genetics.model.belief import HaplotypePair, ParentStatement
    from genetics.model.species import Sex, Species
    from genetics.pool.pool import PoolRow
    from genetics.pool.target import Target

MOST_BITS: Final = 8_000_000
"""Bits of one law, a megabyte: about a thousand hatchlings of doubtful parents."""

_WORD: Final = 30
_KARATSUBA: Final = 0.585
"""Products of words for long integers of a and b words, a the longer one: a * b**0.585."""

States = tuple[tuple[tuple["HaplotypePair", ...], Fraction], ...]


@lru_cache(maxsize=16384)
def _states(species: Species, target: Target, statement: ParentStatement) -> States:
    """What one animal may really carry, by linkage group of the target, with its chance."""
    belief = belief_of(species, statement)
    groups = target_groups(species, target)
    return tuple(
        (
            tuple(pair for pair, _chance in chosen),
            prod((chance for _pair, chance in chosen), start=Fraction(1)),
        )
        for chosen in product(*(belief.states(species, group) for group in groups))
    )


@lru_cache(maxsize=1024)
def _pair_chances(
    species: Species,
    target: Target,
    sire: ParentStatement,
    dam: ParentStatement,
    sexes: tuple[Sex | None, ...],
) -> tuple[Numbers, tuple[tuple[Fraction, ...], ...]]:
    """For every two states which chances of a hit hold, and these, one for each of the sexes."""
    found: dict[tuple[Fraction, ...], int] = {}
    groups = target_groups(species, target)
    numbers = [
        [
            found.setdefault(
                tuple(
                    prod(
                        (
                            group_chance(species, group, *both, target.wanted, sex)
                            for group, both in zip(groups, zip(his, hers, strict=True), strict=True)
                        ),
                        start=Fraction(1),
                    )
                    for sex in sexes
                ),
                len(found),
            )
            for hers, _weight in _states(species, target, dam)
        ]
        for his, _weight in _states(species, target, sire)
    ]
    return np.array(numbers, dtype=np.int64), tuple(found)


@dataclass(frozen=True, eq=False)
class _Edge:
    """A pair: its tie, chances by number and sex, hatchlings by sex."""

    tie: Tie
    chances: tuple[tuple[Fraction, ...], ...]
    n_hatchlings: tuple[int, ...]

    def denominators(self) -> list[int]:
        """Common denominator for each sex."""
        return [lcm(*(one.denominator for one in column)) for column in zip(*self.chances)]  # noqa: B905


_Table = tuple[tuple[int, ...], Mapping[tuple[int, ...], int]]
"""Animals, and for every choice of their states a packed polynomial."""


@dataclass(frozen=True, eq=False)
class FamilyHits:
    """A family ready to be summed over; without ``steps`` its animals are certain.

    ``priors`` are the chances of the merged states of each animal. ``n_products`` is the cost.
    """

    edges: tuple[_Edge, ...]
    priors: tuple[tuple[Fraction, ...], ...]
    steps: tuple[Step, ...]
    n_products: int

    @property
    def n_hatchlings(self) -> int:
        """Hatchlings of the family."""
        return sum(sum(edge.n_hatchlings) for edge in self.edges)

    def sure_hatchlings(self) -> list[tuple[Fraction, int]]:
        """Chance of a hit -> hatchlings, of a family of certain animals."""
        return [
            (chance, n)
            for edge in self.edges
            for chance, n in zip(
                edge.chances[int(edge.tie.table[0, 0])], edge.n_hatchlings, strict=True
            )
        ]

    def law(self) -> tuple[Fraction, ...]:
        """Chance of 0, 1, 2 ... hits, exact."""
        whole, slot = _denominator(self.edges, self.priors)
        packed = self._summed(slot)
        width = slot // 8
        raw = packed.to_bytes((self.n_hatchlings + 1) * width, "little")
        return tuple(
            Fraction(int.from_bytes(raw[k * width : (k + 1) * width], "little"), whole)
            for k in range(self.n_hatchlings + 1)
        )

    def _summed(self, slot: int) -> int:
        gone = {step.animal: place for place, step in enumerate(self.steps)}
        waiting: dict[int, list[_Table]] = {animal: [] for animal in gone}
        result = 1
        for edge in self.edges:
            about, table = _edge_table(edge, gone, slot)
            if about:
                waiting[min(about, key=gone.__getitem__)].append((about, table))
            else:
                result *= table[()]
        for step in self.steps:
            prior = self.priors[step.animal]
            common = lcm(*(one.denominator for one in prior))
            weights = [int(one * common) for one in prior]
            n_states = [len(self.priors[mate]) for mate in step.mates]
            table = _summed_out(step, weights, waiting.pop(step.animal), n_states)
            if step.mates:
                waiting[min(step.mates, key=gone.__getitem__)].append((step.mates, table))
            else:
                result *= table[()]
        return result


def _edge_table(edge: _Edge, gone: Mapping[int, int], slot: int) -> _Table:
    laws = []
    for chances in edge.chances:
        law = 1
        for chance, whole, n in zip(chances, edge.denominators(), edge.n_hatchlings, strict=True):
            hit = int(chance * whole)
            law *= ((hit << slot) + whole - hit) ** n
        laws.append(law)
    both = (edge.tie.one, edge.tie.other)
    about = tuple(one for one in both if one in gone)
    n_rows, n_columns = edge.tie.table.shape
    return about, {
        tuple(state for one, state in zip(both, states, strict=True) if one in gone): laws[
            int(edge.tie.table[states])
        ]
        for states in product(range(n_rows), range(n_columns))
    }


def _summed_out(
    step: Step, weights: Sequence[int], tables: Sequence[_Table], n_states: Sequence[int]
) -> dict[tuple[int, ...], int]:
    found = {}
    for chosen in product(*map(range, n_states)):
        states = dict(zip(step.mates, chosen, strict=True))
        total = 0
        for state, weight in enumerate(weights):
            states[step.animal] = state
            term = weight
            for about, table in tables:
                term *= table[tuple(states[one] for one in about)]
            total += term
        found[chosen] = total
    return found


@lru_cache(maxsize=4096)
def family_hits(species: Species, target: Target, row: PoolRow, most: int) -> FamilyHits | None:
    """The graph of a family; ``None`` if its law takes more than ``most`` products of words.

    Also ``None`` if the law has more than ``MOST_BITS``, or a pair more than ``MOST_PAIR_STATES``.
    A family of certain animals costs nothing, whatever its size.
    """
    pairs = row.of_pairs()
    n_sires = len(row.sires)
    animals = [_states(species, target, one) for one in (*row.sires, *row.dams)]
    ties, chances, hatchlings = [], [], []
    for pair in pairs:
        if len(animals[pair.sire]) * len(animals[n_sires + pair.dam]) > MOST_PAIR_STATES:
            return None
        by_sex: Counter[Sex | None] = Counter()
        for cell in pair.cells:
            by_sex[cell.sex] += cell.count
        sire, dam = row.sires[pair.sire], row.dams[pair.dam]
        numbers, found = _pair_chances(species, target, sire, dam, tuple(by_sex))
        ties.append(Tie(pair.sire, n_sires + pair.dam, numbers))
        chances.append(found)
        hatchlings.append(tuple(by_sex.values()))
    groups = alike([len(one) for one in animals], ties)
    priors = tuple(_prior(states, one) for states, one in zip(animals, groups, strict=True))
    edges = tuple(map(_Edge, merged(ties, groups), chances, hatchlings))
    steps = elimination(
        [len(one) for one in priors], [(tie.one, tie.other) for tie in ties], most=most
    )
    n_products = None if steps is None else _products(edges, priors, steps)
    if steps is None or n_products is None or n_products > most:
        return None
    return FamilyHits(edges=edges, priors=priors, steps=steps, n_products=n_products)


def _prior(states: States, numbers: Numbers) -> tuple[Fraction, ...]:
    found = [Fraction(0)] * (int(numbers.max()) + 1)
    for (_state, weight), number in zip(states, numbers, strict=True):
        found[int(number)] += weight
    return tuple(found)


def _denominator(edges: Sequence[_Edge], priors: Sequence[Sequence[Fraction]]) -> tuple[int, int]:
    """Common denominator of the law, and the bits of a slot: whole bytes."""
    whole = prod(lcm(*(one.denominator for one in prior)) for prior in priors)
    for edge in edges:
        for one, n in zip(edge.denominators(), edge.n_hatchlings, strict=True):
            whole *= one**n
    return whole, -(-(whole.bit_length() + 1) // 8) * 8


def _products(
    edges: Sequence[_Edge], priors: Sequence[Sequence[Fraction]], steps: Sequence[Step]
) -> int | None:
    """Products of words that the law takes; ``None`` if it has more than ``MOST_BITS``."""
    if not steps:
        return 0
    n_all = sum(sum(edge.n_hatchlings) for edge in edges)
    if n_all * n_all > MOST_BITS:
        return None
    slot = _denominator(edges, priors)[1]
    if (n_all + 1) * slot > MOST_BITS:
        return None
    gone = {step.animal: place for place, step in enumerate(steps)}
    waiting: dict[int, list[int]] = {animal: [] for animal in gone}
    total, rest = 0, 0
    for edge in edges:
        n = sum(edge.n_hatchlings)
        total += len(edge.chances) * _product_of_words(n, n, slot)
        about = [one for one in (edge.tie.one, edge.tie.other) if one in gone]
        if about:
            waiting[min(about, key=gone.__getitem__)].append(n)
        else:
            rest += n
    for step in steps:
        here = 0
        for n in waiting[step.animal]:
            total += step.n_states * _product_of_words(here, n, slot)
            here += n
        if step.mates:
            waiting[min(step.mates, key=gone.__getitem__)].append(here)
        else:
            total += _product_of_words(rest, here, slot)
            rest += here
    return total


def _product_of_words(one: int, other: int, slot: int) -> int:
    """Products for two polynomials of these degrees, and a little for the bookkeeping."""
    longer, shorter = ((n + 1) * slot // _WORD + 1 for n in (max(one, other), min(one, other)))
    return int(longer * shorter**_KARATSUBA) + 100
