"""Many combinations at once: the weighted e-BH procedure.

R. Wang, A. Ramdas (2022), False discovery rate control with e-values, Journal of the Royal
Statistical Society B 84, 822-852: rejecting the ``k`` targets with the largest weighted e-values,
with the largest ``k`` such that the k-th is at least ``n / (k * level)``, keeps the false discovery
rate at ``level`` under any dependence.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final, TypeVar

import numpy as np

from genetics.errors import LevelOutOfRangeError
from genetics.exact import ROUNDING_OF_LOGS

FALSE_DISCOVERY_LEVEL: Final = 0.05
SIZE_WEIGHTS: Final = {1: 2.0, 2: 2.0, 3: 1.0}
"""Weight of a target by its number of factors, before the weights are scaled to a mean of 1."""

Key = TypeVar("Key")


def discoveries(
    log10_e_values: Mapping[Key, float],
    weights: Mapping[Key, float] | None = None,
    *,
    others: Mapping[float, int] | None = None,
    level: float = FALSE_DISCOVERY_LEVEL,
) -> frozenset[Key]:
    """Targets that survive weighted e-BH.

    Parameters
    ----------
    log10_e_values
        Target -> logarithm to base 10 of its e-value; minus infinity for 0.
    weights
        Target -> weight above 0; scaled to a mean of 1. Equal if not given.
    others
        Weight -> number of further targets whose e-values are too small to be discovered: below
        ``1 / level`` after weighting. They count among those looked at.
    level
        False discovery rate, strictly between 0 and 1.

    Raises
    ------
    LevelOutOfRangeError
    """
    if not 0 < level < 1:
        raise LevelOutOfRangeError(f"A level lies strictly between 0 and 1, not at {level}.")
    if not log10_e_values:
        return frozenset()
    keys = list(log10_e_values)
    raw = np.array([1.0 if weights is None else weights[key] for key in keys])
    more = others or {}
    n_targets = len(keys) + sum(more.values())
    mean = (raw.sum() + sum(weight * n for weight, n in more.items())) / n_targets
    scores = np.array([log10_e_values[key] for key in keys]) + np.log10(raw / mean)
    order = np.argsort(-scores, kind="stable")
    ranks = np.arange(1, len(keys) + 1)
    enough = scores[order] >= np.log10(n_targets / (ranks * level)) - ROUNDING_OF_LOGS
    last = int(ranks[enough].max()) if enough.any() else 0
    return frozenset(keys[place] for place in order[:last])
