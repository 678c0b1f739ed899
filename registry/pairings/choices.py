"""Choices and limits of animals and pairings."""

from django.db import models

MAX_LABEL_LENGTH = 60
MAX_GENES_LENGTH = 500
FIRST_SEASON = 1990
"""Oldest season a keeper can report; published crosses may be older."""


class Sex(models.TextChoices):
    """Sex of an animal."""

    MALE = "male", "male"
    FEMALE = "female", "female"


MAX_STATED_GENES = 50
"""Most entries of a list about one parent's genes."""


class PhaseKind(models.TextChoices):
    """How two linked alleles lie in one animal."""

    COUPLING = "coupling", "on one chromosome"
    REPULSION = "repulsion", "on the two chromosomes of a pair"


class Pedigree(models.TextChoices):
    """What the parents of a possible het were; its chance follows from the cross."""

    HET_HET = "het x het", "both het"
    HET_NORMAL = "het x normal", "one het, one without the gene"
    VISUAL_NORMAL = "visual x normal", "one visual, one without the gene"
    VISUAL_HET = "visual x het", "one visual, one het"


class SexChromosome(models.TextChoices):
    """Letters of the sex chromosomes."""

    X = "X", "X"
    Y = "Y", "Y"
    Z = "Z", "Z"
    W = "W", "W"


class Origin(models.TextChoices):
    """Which of an animal's own parents a gene came from."""

    SIRE = "sire", "sire"
    DAM = "dam", "dam"


class BreedingStatus(models.TextChoices):
    """What breeding has shown of a gene that an animal was said to carry."""

    PROVEN = "proven", "it carries the gene"
    DISPROVED = "disproved", "it does not carry the gene"


MAX_STATUSES = 100
"""Most statuses of one animal."""

MAX_BASIS_LENGTH = 100
