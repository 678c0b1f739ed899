"""Keepers and their tokens."""

from __future__ import annotations

from django.apps import AppConfig


class KeepersConfig(AppConfig):
    """Entry in ``INSTALLED_APPS``."""

    name = "registry.keepers"
    label = "keepers"
    verbose_name = "Keepers"
    default_auto_field = "django.db.models.BigAutoField"
