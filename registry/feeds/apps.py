"""Atom feeds of state changes."""

from __future__ import annotations

from django.apps import AppConfig


class FeedsConfig(AppConfig):
    """Entry in ``INSTALLED_APPS``."""

    name = "registry.feeds"
    label = "feeds"
    verbose_name = "Feeds"
    default_auto_field = "django.db.models.BigAutoField"
