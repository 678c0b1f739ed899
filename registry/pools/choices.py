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
    AS_EXPECTED = "as-expected", "no shortage that parents without the genes would not explain"
    WATCH = "watch", "its own evidence of a shortage is 20 or more"
    FLAGGED = "flagged", "short also among all combinations looked at, by three keepers or more"


FEW_KEEPERS = 3
"""Below this number of keepers, their number, seasons and breakdowns are not shown."""


class ExplanationName(models.TextChoices):
    """The six things that a shortage can be."""

    AS_CATALOGUED = "as-catalogued", "bad luck"
    PARENT_NOT_CARRYING = "parent-not-carrying", "a parent that is not what its label says"
    LOOK_ALIKE = "look-alike", "hatched and called something else"
    LINKED_IN_REPULSION = "linked-in-repulsion", "genes on one chromosome, in repulsion"
    REDUCED_VIABILITY = "reduced-viability", "dies in the egg or is lost before hatching"
    GENE_SHORTAGE = "gene-shortage", "one gene falls short whatever its partner"
