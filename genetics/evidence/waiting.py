"""How many hatchlings until a look is likely to have turned up.

The chance of the look is itself uncertain when the parents are: it is one unknown number shared by
all hatchlings of the pair, so the chance of at least one is a mixture, not ``1 - (1 - p)**n`` at
the mean chance.
"""

from __future__ import annotations

from collections.abc import Mapping
from fractions import Fraction

from genetics.errors import ChanceOutOfRangeError, CountsOutOfRangeError, LevelOutOfRangeError
from genetics.exact import smallest_power


def at_least_one(weights_by_chance: Mapping[Fraction, Fraction], n: int) -> Fraction:
    """Chance, exact, of at least one among ``n`` hatchlings of the same parents.

    Parameters
    ----------
    weights_by_chance
        Chance of the look for one hatchling, from 0 to 1 -> weight of the parents that give it;
        the weights sum to exactly 1.
    n
        Hatchlings, 0 or more.

    Raises
    ------
    ChanceOutOfRangeError, CountsOutOfRangeError
    """
    _check_weights(weights_by_chance)
    if n < 0:
        raise CountsOutOfRangeError(f"{n} hatchlings is fewer than none.", count=n)
    missed = ((1 - chance) ** n * weight for chance, weight in weights_by_chance.items())
    return 1 - sum(missed, Fraction(0))


def hatchlings_for(weights_by_chance: Mapping[Fraction, Fraction], level: Fraction) -> int | None:
    """Fewest hatchlings among which at least one is as likely as ``level`` or likelier.

    Decided exactly: a tie counts as reached, and 16.008 hatchlings are 17.

    Parameters
    ----------
    weights_by_chance
        As for ``at_least_one``.
    level
        Strictly between 0 and 1.

    Returns
    -------
    None when no number is enough, because the parents that can give the look at all weigh less
    than ``level`` (or just as much, and none of them gives it every time).

    Raises
    ------
    ChanceOutOfRangeError, LevelOutOfRangeError

    References
    ----------
    One look, certain parents: J. R. Sedcole (1977), Crop Science 17, 667-668 (cited from memory).
    """
    _check_weights(weights_by_chance)
    if not 0 < level < 1:
        raise LevelOutOfRangeError(
            f"The level is {level}; it lies strictly between 0 and 1.", level=level
        )
    reach = 1 - weights_by_chance.get(Fraction(0), Fraction(0))
    always = all(chance in (0, 1) for chance, weight in weights_by_chance.items() if weight)
    if reach < level or (reach == level and not always):
        return None
    missed = {1 - chance: weight for chance, weight in weights_by_chance.items()}
    return smallest_power(missed, 1 - level, strict=False)


def _check_weights(weights_by_chance: Mapping[Fraction, Fraction]) -> None:
    for chance, weight in weights_by_chance.items():
        if not 0 <= chance <= 1 or not 0 <= weight <= 1:
            raise ChanceOutOfRangeError(
                f"The chance {chance} of weight {weight}: both lie from 0 to 1.",
                chance=chance,
                weight=weight,
            )
    total = sum(weights_by_chance.values(), Fraction(0))
    if total != 1:
        raise ChanceOutOfRangeError(f"The weights sum to {total}, not to 1.", total=total)
