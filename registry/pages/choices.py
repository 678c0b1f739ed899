"""Limits and names of the pages."""

from __future__ import annotations

from typing import Final

KEEPER_COOKIE: Final = "broodcount_keeper"
"""Holds the keeper's token, sealed; scripts can't read it."""

SHORT_STAY_SECONDS: Final = 12 * 3600
LONG_STAY_SECONDS: Final = 30 * 24 * 3600

NOT_PAGES: Final = ("/api/", "/moderation/", "/static/", "/health/", "/metrics")
"""Where the paths begin that no page is at: errors there stay as they are."""
