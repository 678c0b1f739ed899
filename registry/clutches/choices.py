"""Choices and limits of clutches."""

from django.db import models

MAX_HATCHLINGS = 300
"""Most hatchlings, and most eggs, of one reported clutch. Larger than any clutch of a kept reptile
(working limit of this project, no source); published crosses are not bound by it."""

EGGS = ("laid", "infertile", "died")
"""What is counted of eggs: all of them, those that never developed, and those that died."""

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


MAX_REVISIONS = 100
"""Most revisions of one clutch."""

MAX_SHEDS = 50
"""Most sheds after which a call can be said to have changed."""

MAX_OPINIONS = 20
"""Most second opinions that wait at one clutch."""


class RevisionKind(models.TextChoices):
    """Why a clutch was looked at again."""

    REPORT = "report", "as it was reported"
    SHED = "shed", "after a shed"
    OPINION = "second-opinion", "by the second opinion of another keeper"
    BREEDING = "breeding", "proven or disproved by breeding"
    CORRECTION = "correction", "a slip was corrected"


class Author(models.TextChoices):
    """Who made a revision, as far as anybody is told."""

    OWNER = "owner", "the keeper of the clutch"
    OTHER = "another keeper", "another keeper"


class DuplicateReason(models.TextChoices):
    """Why two reports are taken for one clutch."""

    CODE = "shared-code", "both name the same clutch code"
    COUNTS = "same-counts", "parents, season, eggs and hatchlings agree"


class DuplicateState(models.TextChoices):
    """What is known of two reports that may be of one clutch."""

    LIKELY = "likely", "likely one clutch; the later report waits"
    CONFIRMED = "confirmed", "one clutch; the earlier report counts"
    DISMISSED = "dismissed", "two clutches; both count"


class Side(models.TextChoices):
    """Which of two reports a keeper owns."""

    EARLIER = "earlier", "the report that counts"
    LATER = "later", "the report that is held back"


class Held(models.TextChoices):
    """Why a clutch is in no pool."""

    DUPLICATE = "duplicate", "another report of it counts, see duplicates/"
    MODERATOR = "moderator", "a moderator holds the keeper's clutches, see keepers/me/"


class Verdict(models.TextChoices):
    """What a keeper says of two reports."""

    SAME = "same", "they are of one clutch"
    DIFFERENT = "different", "they are of two clutches"


MAX_DRAFTS = 20
"""Unfinished reports that are kept of one keeper; beyond it the one untouched longest goes."""

DRAFT_DAYS = 60
"""Days after which a report that nobody touched goes."""

HANDED_IN_DAYS = 2
"""Days for which a draft still leads to the clutch that it became."""
