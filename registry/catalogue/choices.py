"""Choices and limits of the catalogue."""

from django.db import models


class SexDetermination(models.TextChoices):
    """Which sex carries two different sex chromosomes."""

    XY = "XY", "XY: males have two different sex chromosomes"
    ZW = "ZW", "ZW: females have two different sex chromosomes"
    NONE = "none", "no sex chromosomes known"


class SpeciesKind(models.TextChoices):
    """Why a species is in the catalogue."""

    KEPT = "kept", "kept and bred by keepers"
    INVENTED = "invented", "invented, for examples only"
    REFERENCE = "reference", "published crosses that the service is checked against"


class Mode(models.TextChoices):
    """How an allele shows beside the wild type."""

    RECESSIVE = "recessive", "recessive"
    INCOMPLETE_DOMINANT = "incomplete-dominant", "incomplete dominant"
    DOMINANT = "dominant", "dominant"


class Confidence(models.TextChoices):
    """How well a row of the catalogue is founded."""

    HIGH = "high", "read in a scholarly source"
    MEDIUM = "medium", "the trade broadly agrees; no source was read"
    LOW = "low", "the trade disagrees, or the compiler is unsure"


class TwoCopies(models.TextChoices):
    """What is known of animals with two copies."""

    VIABLE = "viable", "living animals are reported"
    UNKNOWN = "unknown", "unknown"
    SUSPECTED_LETHAL = "suspected-lethal", "suspected not to live"
    LETHAL = "lethal", "held not to live"
