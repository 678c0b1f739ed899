"""A keeper's sires and dams, and the pairings declared before hatching."""

from __future__ import annotations

from django.apps import AppConfig


class PairingsConfig(AppConfig):
    """Entry in ``INSTALLED_APPS``."""

    name = "registry.pairings"
    label = "pairings"
    verbose_name = "Pairings"
    default_auto_field = "django.db.models.BigAutoField"
