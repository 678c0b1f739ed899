"""Pools: per target its rows of equal families, and what each family contributed."""

from django.contrib.postgres.indexes import GinIndex
from django.db import models

from registry.pools.choices import Source, State

UNCOMPARED = (
    models.Q(state=State.WATCH) & ~models.Q(compared_revision=models.F("assessed_revision"))
) | (~models.Q(state=State.WATCH) & ~models.Q(compared_revision=0))
"""Targets that came on watch, changed there or left it since they were held against the others."""


class PooledTarget(models.Model):
    """A combination that some clutch informs, with its latest assessment.

    ``revision`` counts changes of its pool; the assessment is of ``assessed_revision``. Reading
    services bring a stale one up to date first, so no answer lags behind an acknowledged clutch.
    Counts and chances are in hatchlings; ``expected`` is rounded from an exact number.
    """

    id = models.BigAutoField(primary_key=True)
    species = models.ForeignKey("catalogue.Species", on_delete=models.PROTECT, related_name="+")
    source = models.CharField(max_length=10, choices=Source)
    key = models.TextField()
    combination = models.TextField()
    n_factors = models.PositiveSmallIntegerField()
    factors = models.JSONField(help_text="[[locus, wording, look], ...] in order.")
    revision = models.BigIntegerField(default=1)
    assessed_revision = models.BigIntegerField(default=0)
    state = models.CharField(max_length=12, choices=State, default=State.NO_REPORTS)
    n_clutches = models.PositiveIntegerField(default=0)
    n_declared = models.PositiveIntegerField(default=0)
    n_keepers = models.PositiveIntegerField(default=0)
    n_hatchlings = models.PositiveIntegerField(default=0)
    n_hits = models.PositiveIntegerField(default=0)
    n_hits_possible = models.PositiveIntegerField(default=0)
    n_clutches_with_hit = models.PositiveIntegerField(default=0)
    n_keepers_with_hit = models.PositiveIntegerField(default=0)
    first_hit_season = models.PositiveSmallIntegerField(null=True)
    expected = models.FloatField(default=0)
    p_value = models.FloatField(default=1)
    log10_p_value = models.FloatField(default=0)
    chance_of_none = models.FloatField(default=1)
    log10_e_value = models.FloatField(default=0)
    more_hatchlings = models.PositiveIntegerField(null=True)
    explained_by = models.JSONField(
        null=True, help_text="Another combination that explains the shortage, near a flag only."
    )
    reason = models.JSONField(null=True, help_text="The likeliest explanation, near a flag only.")
    n_cut_families = models.PositiveIntegerField(default=0)
    log10_without_top = models.FloatField(
        null=True, help_text="Evidence without the keeper who moves it most, near a flag only."
    )
    compared_revision = models.BigIntegerField(
        default=0, help_text="Held against others on watch as of this revision; 0 if not on watch."
    )

    class Meta:
        constraints = (
            models.UniqueConstraint(
                fields=("species", "source", "key"), name="pooled_target_key_once"
            ),
            models.CheckConstraint(
                name="pooled_target_source_known",
                condition=models.Q(source__in=Source.values),
            ),
            models.CheckConstraint(
                name="pooled_target_state_known", condition=models.Q(state__in=State.values)
            ),
            models.CheckConstraint(
                name="pooled_target_factors_in_range",
                condition=models.Q(n_factors__gte=1, n_factors__lte=3),
            ),
        )
        indexes = (
            models.Index(
                fields=("species", "source", "state", "log10_e_value"),
                name="pooled_target_by_state",
            ),
            models.Index(
                fields=("species", "source"),
                condition=models.Q(assessed_revision__lt=models.F("revision")),
                name="pooled_target_stale",
            ),
            models.Index(
                fields=("species", "source"), condition=UNCOMPARED, name="pooled_target_uncompared"
            ),
            GinIndex(
                fields=("factors",), opclasses=("jsonb_path_ops",), name="pooled_target_factors"
            ),
        )

    def __str__(self) -> str:
        return self.combination


class PoolRow(models.Model):
    """Families that are equal in parents and cells, as one row with their number.

    ``content`` is a ``genetics`` pool row in the form of ``registry.pools.bridge.rows``;
    ``digest`` is its SHA-256 with the catalogue version, under which its chances are computed.
    """

    id = models.BigAutoField(primary_key=True)
    target = models.ForeignKey(PooledTarget, on_delete=models.CASCADE, related_name="rows")
    version = models.ForeignKey(
        "catalogue.CatalogueVersion", on_delete=models.PROTECT, related_name="+"
    )
    digest = models.CharField(max_length=64)
    content = models.JSONField()
    n_families = models.PositiveIntegerField()

    class Meta:
        constraints = (
            models.UniqueConstraint(fields=("target", "digest"), name="pool_row_once"),
            models.CheckConstraint(
                name="pool_row_not_empty", condition=models.Q(n_families__gte=1)
            ),
        )

    def __str__(self) -> str:
        return f"{self.n_families} x {self.digest[:8]}"


class Contribution(models.Model):
    """One family group's part in one target; ``keeper`` is empty for published crosses."""

    id = models.BigAutoField(primary_key=True)
    target = models.ForeignKey(PooledTarget, on_delete=models.CASCADE, related_name="parts")
    family = models.UUIDField()
    keeper = models.ForeignKey(
        "keepers.Keeper", on_delete=models.CASCADE, null=True, related_name="+"
    )
    digest = models.CharField(max_length=64)
    n_clutches = models.PositiveIntegerField()
    n_declared = models.PositiveIntegerField()
    n_clutches_with_hit = models.PositiveIntegerField()
    n_hatchlings = models.PositiveIntegerField()
    n_hits = models.PositiveIntegerField()
    n_hits_possible = models.PositiveIntegerField()
    first_hit_season = models.PositiveSmallIntegerField(null=True)

    class Meta:
        constraints = (
            models.UniqueConstraint(
                fields=("target", "family"), name="contribution_once_per_family"
            ),
            models.CheckConstraint(
                name="contribution_hits_in_range",
                condition=models.Q(
                    n_hits__lte=models.F("n_hits_possible"),
                    n_hits_possible__lte=models.F("n_hatchlings"),
                ),
            ),
        )
        indexes = (models.Index(fields=("family",), name="contribution_by_family"),)

    def __str__(self) -> str:
        return f"{self.n_hatchlings} hatchlings of {self.family}"


class CallChange(models.Model):
    """Hatchlings of one call that a later look called so, or called otherwise.

    Written with a revision; a call that stayed is a row as well, so that shares can be told.
    """

    id = models.BigAutoField(primary_key=True)
    clutch = models.ForeignKey(
        "clutches.Clutch", on_delete=models.CASCADE, related_name="call_changes"
    )
    revision = models.PositiveSmallIntegerField()
    species = models.ForeignKey("catalogue.Species", on_delete=models.PROTECT, related_name="+")
    keeper = models.ForeignKey("keepers.Keeper", on_delete=models.CASCADE, related_name="+")
    called = models.TextField()
    became = models.TextField()
    count = models.PositiveIntegerField()
    sheds = models.PositiveSmallIntegerField(null=True)

    class Meta:
        constraints = (
            models.UniqueConstraint(
                fields=("clutch", "revision", "called", "became"), name="call_change_once"
            ),
            models.CheckConstraint(name="call_change_not_empty", condition=models.Q(count__gte=1)),
        )
        indexes = (models.Index(fields=("species", "called"), name="call_change_by_call"),)

    def __str__(self) -> str:
        return f"{self.count} x {self.called} -> {self.became}"
