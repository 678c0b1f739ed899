"""How surprising a clutch is, by drawing every hatchling in every way."""

from collections import Counter
from collections.abc import Sequence
from fractions import Fraction
from itertools import product
from math import prod


def outcome_chances(
    chances: Sequence[Sequence[Fraction]], weights: Sequence[Fraction], n: int
) -> dict[tuple[int, ...], Fraction]:
    """Chance of every vector of counts of a clutch of ``n``."""
    n_looks = len(chances[0])
    result: Counter[tuple[int, ...]] = Counter()
    for hatchlings in product(range(n_looks), repeat=n):
        counts = tuple(hatchlings.count(look) for look in range(n_looks))
        result[counts] += sum(
            weight * prod((row[look] for look in hatchlings), start=Fraction(1))
            for row, weight in zip(chances, weights, strict=True)
        )
    return dict(result)


def exact_surprise(
    chances: Sequence[Sequence[Fraction]], weights: Sequence[Fraction], counts: Sequence[int]
) -> Fraction:
    """Chance of an outcome at most as likely as ``counts``."""
    law = outcome_chances(chances, weights, sum(counts))
    seen = law[tuple(counts)]
    return sum((chance for chance in law.values() if chance <= seen), Fraction(0))
