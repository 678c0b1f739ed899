"""Waiting numbers by trying 1, 2, 3, ... hatchlings."""

from collections.abc import Mapping
from fractions import Fraction


def first_n_reaching(
    weights_by_chance: Mapping[Fraction, Fraction], level: Fraction, *, give_up: int
) -> int | None:
    """Fewest hatchlings, at most ``give_up``, whose chance of at least one reaches ``level``."""
    missed = dict(weights_by_chance)
    for n in range(1, give_up + 1):
        missed = {chance: weight * (1 - chance) for chance, weight in missed.items()}
        if 1 - sum(missed.values()) >= level:
            return n
    return None
