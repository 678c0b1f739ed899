"""Choices and limits of clutches."""

from django.db import models

MAX_HATCHLINGS = 300
"""Most hatchlings, and most eggs, of one reported clutch. Larger than any clutch of a kept reptile
(working limit of this project, no source); published crosses are not bound by it."""

MAX_GROUPS = 100
"""Most entries of ``hatchlings`` in one clutch."""

MAX_ALTERNATIVES = 8
"""Most other readings of one uncertain call."""

MAX_BULK_CLUTCHES = 5_000
"""Most clutches of one upload."""

MAX_BULK_BYTES = 30_000_000
MAX_LINE_BYTES = 65_536
"""Most bytes of one clutch in an upload: a line of JSON, or a row with the line breaks in it."""

MAX_BASIS_LENGTH = 100
MAX_CODE_LENGTH = 40


class HatchlingSex(models.TextChoices):
    """Sex of hatchlings, as far as it was looked at."""

    MALE = "male", "male"
    FEMALE = "female", "female"
    UNKNOWN = "unknown", "not known"
