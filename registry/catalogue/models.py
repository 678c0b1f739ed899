"""Species, the versions of their catalogue files, and the genes of each version."""

from django.db import models

from registry.catalogue.choices import (
    Confidence,
    Mode,
    SexDetermination,
    SpeciesKind,
    TwoCopies,
)


class Species(models.Model):
    """A species, with the catalogue version in force."""

    key = models.SlugField(primary_key=True, max_length=60)
    common_name = models.CharField(max_length=100)
    scientific_name = models.CharField(max_length=100)
    sex_determination = models.CharField(max_length=4, choices=SexDetermination)
    kind = models.CharField(max_length=10, choices=SpeciesKind)
    current = models.ForeignKey(
        "CatalogueVersion", on_delete=models.PROTECT, null=True, related_name="+"
    )

    class Meta:
        ordering = ("key",)
        verbose_name_plural = "species"
        constraints = (
            models.CheckConstraint(
                name="species_sex_determination_known",
                condition=models.Q(sex_determination__in=SexDetermination.values),
            ),
            models.CheckConstraint(
                name="species_kind_known", condition=models.Q(kind__in=SpeciesKind.values)
            ),
        )

    def __str__(self) -> str:
        return self.common_name


class CatalogueVersion(models.Model):
    """One state of a species file. Never changed: what was reported under it keeps its meaning."""

    species = models.ForeignKey(Species, on_delete=models.PROTECT, related_name="versions")
    number = models.PositiveIntegerField()
    sha256 = models.CharField(max_length=64)
    content = models.JSONField()
    loaded_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ("species", "number")
        constraints = (
            models.UniqueConstraint(
                fields=("species", "number"), name="catalogue_version_number_once"
            ),
            models.UniqueConstraint(
                fields=("species", "sha256"), name="catalogue_version_content_once"
            ),
        )

    def __str__(self) -> str:
        return self.label

    @property
    def label(self) -> str:
        """How answers name the version: species, number and the start of the file's digest."""
        return f"{self.species_id}/{self.number}-{self.sha256[:8]}"


class Gene(models.Model):
    """A gene of one catalogue version, as the list of genes shows it."""

    version = models.ForeignKey(CatalogueVersion, on_delete=models.CASCADE, related_name="genes")
    place = models.PositiveSmallIntegerField()
    locus = models.CharField(max_length=100)
    name = models.CharField(max_length=100)
    aliases = models.JSONField()
    super_names = models.JSONField()
    mode = models.CharField(max_length=20, choices=Mode)
    two_copies = models.CharField(max_length=20, choices=TwoCopies)
    sex_linked = models.BooleanField()
    confidence = models.CharField(max_length=10, choices=Confidence)
    why = models.TextField(blank=True)
    source = models.TextField()
    cautions = models.JSONField()

    class Meta:
        ordering = ("version", "place")
        constraints = (
            models.UniqueConstraint(fields=("version", "name"), name="gene_name_once"),
            models.UniqueConstraint(fields=("version", "place"), name="gene_place_once"),
            models.CheckConstraint(
                name="gene_mode_known", condition=models.Q(mode__in=Mode.values)
            ),
            models.CheckConstraint(
                name="gene_two_copies_known",
                condition=models.Q(two_copies__in=TwoCopies.values),
            ),
            models.CheckConstraint(
                name="gene_confidence_known",
                condition=models.Q(confidence__in=Confidence.values),
            ),
        )

    def __str__(self) -> str:
        return self.name
