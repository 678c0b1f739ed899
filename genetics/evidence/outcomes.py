"""Walking through the outcomes of a clutch, interchangeable looks taken together.

The likelihood of an outcome depends, within a group of looks of equal chances, only on how many
hatchlings the group has and on the product of the factorials of its counts. So a group is described
by its total and, for each such product, the number of ways to spread the total.
"""

from __future__ import annotations

import math
from bisect import bisect_left
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache
from itertools import accumulate
from operator import mul
from typing import Final

_PLENTY: Final = 1_000_000


@dataclass(frozen=True, slots=True)
class LookGroup:
    """Looks of equal chances: their chance in each state of the parents, and the counts seen."""

    chances: tuple[Fraction, ...]
    counts: tuple[int, ...]


def n_steps(groups: Sequence[LookGroup], *, n: int) -> int:
    """Bound on the work of ``unlikely_mass``: outcomes walked through plus spreads prepared.

    The group of most looks is not walked, its spreads are searched. Above a million the number is
    no bound, only too large anyhow.
    """
    n_totals = math.comb(n + max(0, len(groups) - 1), n)
    if n_totals > _PLENTY:
        return n_totals
    ordered = sorted(len(group.counts) for group in groups)
    if not ordered:
        return 0
    searched = _partition_numbers(n, ordered.pop())
    if not ordered:
        return searched[n]
    walked = _partition_numbers(n, ordered.pop())
    for n_looks in ordered:
        spreads = _partition_numbers(n, n_looks)
        walked = [
            sum(map(mul, walked[: total + 1], reversed(spreads[: total + 1])))
            for total in range(n + 1)
        ]
    return sum(walked) + sum(searched)


def unlikely_mass(groups: Sequence[LookGroup], *, weights: Sequence[Fraction]) -> Fraction:
    """Exact chance of an outcome at most as likely as the one seen.

    Integers throughout: with D the common denominator of the chances and W that of the weights,
    ``likelihood * W * D**n`` is whole.
    """
    walk = _Walk.of(groups, weights)
    seen = math.prod(math.factorial(c) for group in groups for c in group.counts)
    totals = [sum(group.counts) for group in walk.groups]
    likelihood = sum(
        weight * math.prod(powers[t] for powers, t in zip(state, totals, strict=True))
        for weight, state in zip(walk.weights, walk.powers, strict=True)
    ) * (math.factorial(walk.n) // seen)
    if not likelihood:  # nor has any outcome less
        return Fraction(0)
    return Fraction(sum(_unlikely(walk, likelihood)), walk.scale)


@dataclass(frozen=True, slots=True)
class _Walk:
    groups: list[LookGroup]  # the one with most looks last: its spreads are searched, not walked
    n: int
    weights: list[int]
    powers: list[list[list[int]]]  # per state, per group: numerator ** total
    scale: int

    @staticmethod
    def of(groups: Sequence[LookGroup], weights: Sequence[Fraction]) -> _Walk:
        ordered = sorted(groups, key=lambda group: len(group.counts))
        n = sum(sum(group.counts) for group in ordered)
        common = math.lcm(*(c.denominator for group in ordered for c in group.chances))
        weight_of: dict[tuple[Fraction, ...], Fraction] = {}
        for state, weight in enumerate(weights):
            row = tuple(group.chances[state] for group in ordered)
            weight_of[row] = weight_of.get(row, Fraction(0)) + weight
        whole = math.lcm(*(weight.denominator for weight in weight_of.values()))
        return _Walk(
            groups=ordered,
            n=n,
            weights=[int(weight * whole) for weight in weight_of.values()],
            powers=[[_powers(int(c * common), n) for c in row] for row in weight_of],
            scale=whole * common**n,
        )


def _powers(base: int, n: int) -> list[int]:
    return list(accumulate([base] * n, mul, initial=1))


def _unlikely(walk: _Walk, likelihood: int) -> Iterator[int]:
    """Likelihoods (times the scale) of all outcomes at most as likely as ``likelihood``."""
    last = len(walk.groups) - 1
    factorial = math.factorial(walk.n)

    def deeper(i: int, left: int, states: list[int], divisor: int, ways: int) -> Iterator[int]:
        # states: weight times powers so far; divisor: product of factorials so far.
        n_looks = len(walk.groups[i].counts)
        for total in [left] if i == last else range(left + 1):
            carried = [s * powers[i][total] for s, powers in zip(states, walk.powers, strict=True)]
            if not any(carried):
                continue
            spreads = _spreads(total, n_looks)
            if i < last:
                for product, n_ways in zip(spreads.products, spreads.ways, strict=True):
                    yield from deeper(
                        i + 1, left - total, carried, divisor * product, ways * n_ways
                    )
                continue
            # At most as likely: sum(carried) * n! / (divisor * product) <= likelihood.
            least = -(-sum(carried) * factorial // (divisor * likelihood))
            first = bisect_left(spreads.products, least)
            if first < len(spreads.products):
                coefficient = factorial // (divisor * math.factorial(total))
                yield sum(carried) * ways * coefficient * spreads.tails[first]

    return deeper(0, walk.n, walk.weights, 1, 1)


@dataclass(frozen=True, slots=True)
class _Spreads:
    """Ways to spread a total over a group, by ascending product of the counts' factorials."""

    products: list[int]
    ways: list[int]
    tails: list[int]  # sum of ways * total! / product from here on


@lru_cache(maxsize=4096)
def _spreads(total: int, n_looks: int) -> _Spreads:
    ways_of: dict[int, int] = {}
    for parts in _partitions(total, n_looks, total):
        product = math.prod(map(math.factorial, parts))
        sizes = [*map(parts.count, set(parts)), n_looks - len(parts)]
        n_ways = math.factorial(n_looks) // math.prod(map(math.factorial, sizes))
        ways_of[product] = ways_of.get(product, 0) + n_ways
    products = sorted(ways_of)
    ways = [ways_of[product] for product in products]
    whole = math.factorial(total)
    masses = [n_ways * (whole // product) for product, n_ways in zip(products, ways, strict=True)]
    return _Spreads(products, ways, list(accumulate(reversed(masses)))[::-1])


def _partitions(total: int, most_parts: int, largest: int) -> Iterator[list[int]]:
    """Descending parts above 0, at most ``most_parts`` of them, that sum to ``total``."""
    if total == 0:
        yield []
    elif most_parts:
        for part in range(min(total, largest), (total - 1) // most_parts, -1):
            for rest in _partitions(total - part, most_parts - 1, part):
                yield [part, *rest]


def _partition_numbers(n: int, most_parts: int) -> list[int]:
    """Number of partitions of 0, 1, ... n into at most ``most_parts`` parts."""
    numbers = [1] + [0] * n
    for part in range(1, min(most_parts, n) + 1):
        for total in range(part, n + 1):
            numbers[total] += numbers[total - part]
    return numbers
