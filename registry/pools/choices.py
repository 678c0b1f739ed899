"""Choices of the pools."""

from django.db import models


class Source(models.TextChoices):
    """Whose clutches a pool holds. The two are never mixed."""

    KEEPERS = "keepers", "reported by keepers"
    PUBLISHED = "published", "published crosses"


class State(models.TextChoices):
    """What the counts say of a combination."""

    NO_REPORTS = "no-reports", "no clutch that could have shown it was reported"
    TOO_EARLY = "too-early", "too few hatchlings for an absence to mean anything"
    AS_EXPECTED = "as-expected", "about as often as expected"
    WATCH = "watch", "fewer than luck alone would leave, once in twenty"


FEW_KEEPERS = 3
"""Below this number of keepers, their number, seasons and breakdowns are not shown."""
