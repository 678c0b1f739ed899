"""Clutches: eggs, hatchlings and what they were called; and published crosses beside them."""

import uuid

from django.db import models
from django.db.models.functions import Coalesce

from registry.clutches.choices import (
    MAX_BASIS_LENGTH,
    MAX_CODE_LENGTH,
    Author,
    DuplicateReason,
    DuplicateState,
    HatchlingSex,
    RevisionKind,
)

COUNTED = models.Q(is_duplicate=False, is_held=False)
"""Clutches that the pools hold."""


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
    stated of the parents, in the form of ``registry.pairings.bridge.stored``; ``version`` is the
    catalogue version under which all of it was read. ``family`` is common to the clutches that
    share an animal, directly or through others. Eggs are NULL where they were not counted, and so
    is the season of a published cross that has none.

    Calls, eggs and what is stated of the parents are those of the newest revision, ``revision``.
    A likely duplicate of an earlier clutch and the clutches of a held keeper are in no pool.
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
    is_duplicate = models.BooleanField(default=False, db_default=False)
    is_held = models.BooleanField(default=False, db_default=False)
    revision = models.PositiveSmallIntegerField(default=1, db_default=1)
    twin = models.CharField(
        max_length=64, blank=True, db_default="", help_text="Digest: season and parents' genes."
    )
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
        indexes = (
            models.Index(fields=("twin",), condition=~models.Q(twin=""), name="clutch_by_twin"),
            models.Index(
                fields=("clutch_code",),
                condition=~models.Q(clutch_code=""),
                name="clutch_by_code",
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


class Revision(models.Model):
    """One state of a clutch; the first is the report. Rows are added, never changed.

    ``content`` holds eggs, hatchlings and what is stated of the parents, in the form of
    ``registry.clutches.bridge.revisions``.
    """

    id = models.BigAutoField(primary_key=True)
    clutch = models.ForeignKey(Clutch, on_delete=models.CASCADE, related_name="revisions")
    number = models.PositiveSmallIntegerField()
    made_at = models.DateTimeField()
    kind = models.CharField(max_length=14, choices=RevisionKind)
    author = models.CharField(max_length=14, choices=Author, default=Author.OWNER)
    sheds = models.PositiveSmallIntegerField(null=True)
    basis = models.CharField(max_length=MAX_BASIS_LENGTH, blank=True)
    content = models.JSONField()

    class Meta:
        ordering = ("clutch", "number")
        constraints = (
            models.UniqueConstraint(fields=("clutch", "number"), name="revision_number_once"),
            models.CheckConstraint(
                name="revision_kind_known", condition=models.Q(kind__in=RevisionKind.values)
            ),
            models.CheckConstraint(
                name="revision_author_known", condition=models.Q(author__in=Author.values)
            ),
        )

    def __str__(self) -> str:
        return f"revision {self.number} of {self.clutch_id}"


class Opinion(models.Model):
    """What another keeper, who knows the clutch code, calls the hatchlings.

    Changes nothing until the keeper of the clutch takes it over as a revision. ``content`` is as
    in a revision; who gave it is known to the server alone and goes when they erase themselves.
    """

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    clutch = models.ForeignKey(Clutch, on_delete=models.CASCADE, related_name="opinions")
    keeper = models.ForeignKey("keepers.Keeper", on_delete=models.CASCADE, related_name="opinions")
    given_at = models.DateTimeField()
    basis = models.CharField(max_length=MAX_BASIS_LENGTH, blank=True)
    sheds = models.PositiveSmallIntegerField(null=True)
    hatchlings = models.JSONField(help_text="As given, after reading: entries of a body.")
    taken_over = models.PositiveSmallIntegerField(
        null=True, help_text="The revision that took it over."
    )

    class Meta:
        ordering = ("-given_at", "id")

    def __str__(self) -> str:
        return f"opinion {self.id}"


class LikelyDuplicate(models.Model):
    """Two reports that may be of one clutch; the later one is in no pool until they are told apart.

    ``earlier_says`` and ``later_says`` are the two keepers' own words, ``moderator_says`` goes
    before both; NULL where nothing was said.
    """

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    earlier = models.ForeignKey(Clutch, on_delete=models.CASCADE, related_name="copies")
    later = models.OneToOneField(Clutch, on_delete=models.CASCADE, related_name="copied")
    reason = models.CharField(max_length=11, choices=DuplicateReason)
    state = models.CharField(max_length=9, choices=DuplicateState)
    chance = models.FloatField(help_text="That these are one clutch, before anybody was asked.")
    found_at = models.DateTimeField()
    earlier_says = models.BooleanField(null=True)
    later_says = models.BooleanField(null=True)
    moderator_says = models.BooleanField(null=True)

    class Meta:
        ordering = ("-found_at", "id")
        constraints = (
            models.CheckConstraint(
                name="likely_duplicate_of_another",
                condition=~models.Q(earlier=models.F("later")),
            ),
            models.CheckConstraint(
                name="likely_duplicate_reason_known",
                condition=models.Q(reason__in=DuplicateReason.values),
            ),
            models.CheckConstraint(
                name="likely_duplicate_state_known",
                condition=models.Q(state__in=DuplicateState.values),
            ),
        )

    def __str__(self) -> str:
        return f"{self.later_id} of {self.earlier_id}"


class Draft(models.Model):
    """A report that its keeper has not handed in yet, as it was typed.

    Once handed in it holds nothing but the clutch, so that a press of the button that comes twice
    leads to the one clutch.
    """

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    keeper = models.ForeignKey("keepers.Keeper", on_delete=models.CASCADE, related_name="drafts")
    typed = models.JSONField(default=dict)
    touched_on = models.DateField()
    clutch = models.OneToOneField(Clutch, on_delete=models.CASCADE, null=True, related_name="draft")

    class Meta:
        ordering = ("-touched_on", "id")
        constraints = (
            models.CheckConstraint(
                name="draft_handed_in_is_empty",
                condition=models.Q(clutch=None) | models.Q(typed={}),
            ),
        )

    def __str__(self) -> str:
        return f"draft {self.pk}"
