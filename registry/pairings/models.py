"""A keeper's animals and the pairings declared before hatching."""

import uuid
from datetime import UTC

from django.contrib.postgres.fields import ArrayField
from django.contrib.postgres.indexes import GinIndex
from django.db import models

from registry.pairings.choices import MAX_BASIS_LENGTH, MAX_LABEL_LENGTH, BreedingStatus, Sex


class Animal(models.Model):
    """A sire or dam under its keeper's own label. Never shown to anybody else."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    keeper = models.ForeignKey("keepers.Keeper", on_delete=models.CASCADE, related_name="animals")
    species = models.ForeignKey("catalogue.Species", on_delete=models.PROTECT, related_name="+")
    label = models.CharField(max_length=MAX_LABEL_LENGTH)
    sex = models.CharField(max_length=6, choices=Sex)
    genes = models.TextField(help_text="What was stated of the animal last, canonical.")

    class Meta:
        constraints = (
            models.UniqueConstraint(
                fields=("keeper", "species", "label"), name="animal_label_once_per_keeper"
            ),
            models.CheckConstraint(name="animal_sex_known", condition=models.Q(sex__in=Sex.values)),
            models.CheckConstraint(name="animal_label_not_empty", condition=~models.Q(label="")),
        )

    def __str__(self) -> str:
        return f"animal {self.id}"


class AnimalStatus(models.Model):
    """What breeding has shown of one gene of an animal. Rows are added, never changed."""

    id = models.BigAutoField(primary_key=True)
    animal = models.ForeignKey(Animal, on_delete=models.CASCADE, related_name="statuses")
    gene = models.TextField()
    status = models.CharField(max_length=9, choices=BreedingStatus)
    basis = models.CharField(max_length=MAX_BASIS_LENGTH, blank=True)
    made_at = models.DateTimeField()

    class Meta:
        ordering = ("animal", "id")
        constraints = (
            models.CheckConstraint(
                name="animal_status_known", condition=models.Q(status__in=BreedingStatus.values)
            ),
        )

    def __str__(self) -> str:
        return f"{self.gene} {self.status}"


class Pairing(models.Model):
    """A pairing that its keeper declared before anything hatched.

    ``sire_stated`` and ``dam_stated`` hold what was stated of the parents then, in the form of
    ``registry.pairings.bridge.stored``. ``targets`` are the keys of the combinations that its
    clutches would inform.
    """

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    keeper = models.ForeignKey("keepers.Keeper", on_delete=models.CASCADE, related_name="pairings")
    version = models.ForeignKey(
        "catalogue.CatalogueVersion", on_delete=models.PROTECT, related_name="+"
    )
    season = models.PositiveSmallIntegerField()
    sire = models.ForeignKey(Animal, on_delete=models.CASCADE, null=True, related_name="+")
    dam = models.ForeignKey(Animal, on_delete=models.CASCADE, null=True, related_name="+")
    sire_stated = models.JSONField()
    dam_stated = models.JSONField()
    declared_at = models.DateTimeField(auto_now_add=True)
    targets = ArrayField(models.TextField(), default=list)

    class Meta:
        ordering = ("-declared_at", "id")
        indexes = (GinIndex(fields=("targets",), name="pairing_by_target"),)

    def __str__(self) -> str:
        return f"pairing {self.id}"

    def is_declared_for(self, season: int) -> bool:
        """Whether a clutch of this season may have been unhatched when the pairing was declared.

        By the server's time (UTC): a pairing of a past season can be stated, and a clutch that
        joins it may have been chosen by its outcome.
        """
        return season >= self.declared_at.astimezone(UTC).year
