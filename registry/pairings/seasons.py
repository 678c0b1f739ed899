"""Seasons: the years in which a clutch can have hatched."""

from __future__ import annotations

from django.utils import timezone

from registry.errors import SeasonOutOfRangeError
from registry.pairings.choices import FIRST_SEASON


def season_checked(season: int, *, ahead: int = 0) -> None:
    """Refuse a season before ``FIRST_SEASON`` or more than ``ahead`` years in the future (UTC).

    Raises
    ------
    SeasonOutOfRangeError
    """
    last = timezone.now().year + ahead
    if not FIRST_SEASON <= season <= last:
        raise SeasonOutOfRangeError(
            f"The season is {season}; a season is a year from {FIRST_SEASON} to {last}.",
            season=season,
            first=FIRST_SEASON,
            last=last,
        )
