"""Answers for combinations, and flags. No models."""

from __future__ import annotations

from django.apps import AppConfig


class CombinationsConfig(AppConfig):
    """Entry in ``INSTALLED_APPS``."""

    name = "registry.combinations"
    label = "combinations"
    verbose_name = "Combinations"
    default_auto_field = "django.db.models.BigAutoField"
