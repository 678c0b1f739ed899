"""Choices and limits of moderation."""

from django.db import models

PREFIX = "moderation/"
"""Of the addresses of all pages; the cookies in the settings are for it as well."""
MAX_HANDLE_LENGTH = 40
HANDLE_PATTERN = r"^[a-z0-9]+([ -][a-z0-9]+)*$"
"""No capitals, so that two moderators are not told apart by case alone; no mail addresses."""
HANDLE_EXPECTED = (
    "A handle is made of small letters a to z and digits, its words parted by a space or a hyphen: "
    "a word of the moderator's choice, neither a name nor a mail address."
)
MIN_REASON_LENGTH = 5
MAX_REASON_LENGTH = 500
DIGEST_LENGTH = 64
MOST_AT_ONCE = 100
"""Rows that one reason is given for; whoever chooses more has most likely slipped."""


class Act(models.TextChoices):
    """What a moderator did."""

    HOLD = "hold", "held a keeper's clutches"
    RELEASE = "release", "released a keeper's clutches"
    SAME = "same", "said that two reports are of one clutch"
    DIFFERENT = "different", "said that two reports are of two clutches"
    TAKE_BACK = "take-back", "took a word on two reports back"
