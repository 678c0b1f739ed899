"""Slow, obvious second versions of the pooled tail; nothing from the module they check."""

from collections.abc import Mapping, Sequence
from decimal import Decimal, localcontext
from fractions import Fraction
from math import log10


def exact_tail(
    hits: int,
    hatchlings_by_chance: Mapping[Fraction, int],
    families: Sequence[Sequence[Fraction]] = (),
) -> Fraction:
    """Chance of at most ``hits``: hatchlings, then families, are added one at a time."""
    # Whole numbers: a hatchling of chance a/d multiplies by d - a (no hit) or a (hit).
    ways, scale = [1], 1
    for chance, n_hatchlings in hatchlings_by_chance.items():
        hit, miss = chance.numerator, chance.denominator - chance.numerator
        for _ in range(n_hatchlings):
            grown = [miss * way for way in ways] + [0]
            for j, way in enumerate(ways):
                grown[j + 1] += hit * way
            ways = grown[: hits + 1]
        scale *= chance.denominator**n_hatchlings
    law = [Fraction(way, scale) for way in ways]
    for family in families:
        summed = [Fraction(0)] * (len(law) + len(family) - 1)
        for i, chance in enumerate(law):
            for j, other in enumerate(family):
                summed[i + j] += chance * other
        law = summed[: hits + 1]
    return sum(law, Fraction(0))


def log10_fraction(value: Fraction) -> float:
    """Decimal logarithm of a fraction too small for a float."""
    shift = len(str(value.denominator)) - len(str(value.numerator))
    return log10(value * 10**shift) - shift


def two_group_tail(hits: int, one: tuple[Fraction, int], other: tuple[Fraction, int]) -> Decimal:
    """Chance of at most ``hits`` among two groups, to some 50 digits: all terms, no window."""
    with localcontext(prec=60):
        first, second = _binomial(hits, *one), _binomial(hits, *other)
        below, running = [], Decimal(0)
        for chance in second:
            running += chance
            below.append(running)
        below += [running] * (hits + 1 - len(below))
        return sum((c * below[hits - j] for j, c in enumerate(first)), Decimal(0))


def _binomial(most: int, chance: Fraction, n: int) -> list[Decimal]:
    a, d = chance.numerator, chance.denominator
    term = (Decimal(d - a) / Decimal(d)) ** n
    terms = [term]
    for j in range(min(most, n)):
        term = term * ((n - j) * a) / ((j + 1) * (d - a))
        terms.append(term)
    return terms
