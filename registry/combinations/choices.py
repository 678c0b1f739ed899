"""Limits and choices of answers about combinations."""

from django.db import models

MAX_RELATED = 20
"""Most combinations with further genes that an answer lists."""


class Relation(models.TextChoices):
    """How a related combination is related."""

    PART = "part", "a part of the combination"
    SUPER_FORM = "super form", "one gene in one copy more or less"
    WITH_MORE = "with another gene", "the combination with another gene"


class Produced(models.TextChoices):
    """Whether anyone has produced a combination."""

    YES = "yes", "yes"
    UNCERTAIN = "uncertain", "only by uncertain calls"
    NO = "no", "no"


MOST_POINTS = 500
"""Most clutches whose evidence over time is computed, the newest."""

MOST_READ = 2 * MOST_POINTS
"""Newest clutches, those that do not inform included, whose families a history reads whole."""
