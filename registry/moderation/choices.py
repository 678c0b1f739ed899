"""Choices and limits of moderation."""

from django.db import models

MAX_HANDLE_LENGTH = 40
MIN_REASON_LENGTH = 5
MAX_REASON_LENGTH = 500
DIGEST_LENGTH = 64


class Act(models.TextChoices):
    """What a moderator did."""

    HOLD = "hold", "held a keeper's clutches"
    RELEASE = "release", "released a keeper's clutches"
    SAME = "same", "said that two reports are of one clutch"
    DIFFERENT = "different", "said that two reports are of two clutches"
    TAKE_BACK = "take-back", "took a word on two reports back"
