"""Clutches: eggs, hatchlings and what they were called; and published crosses beside them."""

import uuid

from django.db import models
from django.db.models.functions import Coalesce

from registry.clutches.choices import MAX_BASIS_LENGTH, MAX_CODE_LENGTH, HatchlingSex


class PublishedSource(models.Model):
    """A publication whose crosses are loaded, with its citation."""

    key = models.SlugField(primary_key=True, max_length=80)
    title = models.TextField()
    citation = models.TextField()
    read_at = models.TextField()
    from_memory = models.BooleanField()
    note = models.TextField(blank=True)
    content = models.JSONField()
    loaded_at = models.DateTimeField(auto_now=True)

    class Meta:
        ordering = ("key",)

    def __str__(self) -> str:
        return self.key


class Clutch(models.Model):
    """One clutch of one pairing in one season.

    Belongs to a keeper or to a publication. ``sire_stated`` and ``dam_stated`` hold what was
    stated of the parents, in the form of ``registry.pairings.bridge``; ``version`` is the
    catalogue version under which all of it was read. ``family`` is common to the clutches that
    share an animal, directly or through others. Eggs are NULL where they were not counted, and so
    is the season of a published cross that has none.
    """

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    keeper = models.ForeignKey(
        "keepers.Keeper", on_delete=models.CASCADE, null=True, related_name="clutches"
    )
    published = models.ForeignKey(
        PublishedSource, on_delete=models.CASCADE, null=True, related_name="clutches"
    )
    version = models.ForeignKey(
        "catalogue.CatalogueVersion", on_delete=models.PROTECT, related_name="+"
    )
    pairing = models.ForeignKey(
        "pairings.Pairing", on_delete=models.SET_NULL, null=True, related_name="clutches"
    )
    season = models.PositiveSmallIntegerField(null=True)
    sire = models.ForeignKey(
        "pairings.Animal", on_delete=models.CASCADE, null=True, related_name="sired"
    )
    dam = models.ForeignKey(
        "pairings.Animal", on_delete=models.CASCADE, null=True, related_name="laid"
    )
    sire_stated = models.JSONField()
    dam_stated = models.JSONField()
    family = models.UUIDField(db_index=True)
    eggs_laid = models.PositiveSmallIntegerField(null=True)
    eggs_infertile = models.PositiveSmallIntegerField(null=True)
    eggs_died = models.PositiveSmallIntegerField(null=True)
    n_hatchlings = models.PositiveIntegerField()
    clutch_code = models.CharField(max_length=MAX_CODE_LENGTH, blank=True)
    is_declared = models.BooleanField(default=False)
    reported_at = models.DateTimeField()

    class Meta:
        ordering = ("-reported_at", "id")
        verbose_name_plural = "clutches"
        constraints = (
            models.CheckConstraint(
                name="clutch_of_keeper_or_publication",
                condition=models.Q(keeper__isnull=False, published__isnull=True)
                | models.Q(keeper__isnull=True, published__isnull=False),
            ),
            models.CheckConstraint(
                name="clutch_of_keeper_has_season",
                condition=models.Q(season__isnull=False) | models.Q(published__isnull=False),
            ),
            models.CheckConstraint(
                name="clutch_eggs_add_up",
                condition=models.Q(eggs_laid__isnull=True)
                | models.Q(
                    eggs_laid__gte=models.F("n_hatchlings")
                    + Coalesce(models.F("eggs_infertile"), 0)
                    + Coalesce(models.F("eggs_died"), 0)
                ),
            ),
        )

    def __str__(self) -> str:
        return f"clutch {self.id}"


class HatchlingGroup(models.Model):
    """Hatchlings of a clutch that were called alike.

    ``readings`` holds, for the call and each alternative, the canonical text, the looks by locus
    and why the parents can not give it, in the form of ``registry.clutches.bridge.reports``.
    """

    id = models.BigAutoField(primary_key=True)
    clutch = models.ForeignKey(Clutch, on_delete=models.CASCADE, related_name="hatchlings")
    place = models.PositiveSmallIntegerField()
    call = models.TextField()
    count = models.PositiveIntegerField()
    sex = models.CharField(max_length=7, choices=HatchlingSex, default=HatchlingSex.UNKNOWN)
    basis = models.CharField(max_length=MAX_BASIS_LENGTH, blank=True)
    readings = models.JSONField()
    contradicts_parents = models.BooleanField()

    class Meta:
        ordering = ("clutch", "place")
        constraints = (
            models.UniqueConstraint(fields=("clutch", "place"), name="hatchling_group_place_once"),
            models.CheckConstraint(
                name="hatchling_group_not_empty", condition=models.Q(count__gte=1)
            ),
            models.CheckConstraint(
                name="hatchling_group_sex_known",
                condition=models.Q(sex__in=HatchlingSex.values),
            ),
        )

    def __str__(self) -> str:
        return f"{self.count} x {self.call}"
