"""Limits of the feeds."""

from typing import Final

from registry.pools.choices import State

MOST_ENTRIES: Final = 50
"""Entries of a feed, the newest."""

ON_BOARD: Final = frozenset({State.WATCH, State.FLAGGED})
"""States whose coming and going the feeds of flags tell."""
