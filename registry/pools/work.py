"""How much one call may work in, counted and not timed: the same reports take the same calls."""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Hashable
from dataclasses import dataclass
from threading import Lock
from typing import Final

MOST_WORK: Final = 20_000_000
"""Work of bringing targets up to date that one call does, as ``pool_work`` counts it.

Five to ten seconds on a small server. A target that was begun is finished, within the limits of one
pool. What is left over is done by the next call.
"""

MOST_REMEMBERED: Final = 5_000
"""Rows whose sums this process is taken to remember; a verdict keeps three of each."""


@dataclass(slots=True)
class Allowance:
    """What one call may still work in; ``left`` None is without limit, for commands."""

    left: int | None

    @property
    def is_used_up(self) -> bool:
        """Whether no further target may be begun."""
        return self.left is not None and self.left <= 0

    def take(self, work: int) -> None:
        """Count work that was done."""
        if self.left is not None:
            self.left -= work


class Remembered:
    """Which sums this process has made lately, so that they are not counted as work again."""

    def __init__(self, most: int = MOST_REMEMBERED) -> None:
        self._most = most
        self._keys: OrderedDict[Hashable, None] = OrderedDict()
        self._lock = Lock()

    def is_new(self, key: Hashable) -> bool:
        """Whether a sum is none of the latest; it is one from now on."""
        with self._lock:
            is_new = key not in self._keys
            self._keys[key] = None
            self._keys.move_to_end(key)
            if len(self._keys) > self._most:
                self._keys.popitem(last=False)
            return is_new
