"""Pool rows for each target."""

from __future__ import annotations

from django.apps import AppConfig


class PoolsConfig(AppConfig):
    """Entry in ``INSTALLED_APPS``."""

    name = "registry.pools"
    label = "pools"
    verbose_name = "Pools"
    default_auto_field = "django.db.models.BigAutoField"
