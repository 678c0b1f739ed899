"""Pooled counts as open data."""

from __future__ import annotations

from django.apps import AppConfig


class ExportsConfig(AppConfig):
    """Entry in ``INSTALLED_APPS``."""

    name = "registry.exports"
    label = "exports"
    verbose_name = "Exports"
    default_auto_field = "django.db.models.BigAutoField"
