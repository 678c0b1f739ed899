"""Clutches, eggs, hatchlings and their revisions."""

from __future__ import annotations

from django.apps import AppConfig


class ClutchesConfig(AppConfig):
    """Entry in ``INSTALLED_APPS``."""

    name = "registry.clutches"
    label = "clutches"
    verbose_name = "Clutches"
    default_auto_field = "django.db.models.BigAutoField"
