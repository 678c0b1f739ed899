"""Species, loci, alleles, nicknames and cautions, by catalogue version."""

from __future__ import annotations

from django.apps import AppConfig


class CatalogueConfig(AppConfig):
    """Entry in ``INSTALLED_APPS``."""

    name = "registry.catalogue"
    label = "catalogue"
    verbose_name = "Catalogue"
    default_auto_field = "django.db.models.BigAutoField"
