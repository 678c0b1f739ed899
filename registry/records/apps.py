"""A keeper's own record: read, export, erase."""

from __future__ import annotations

from django.apps import AppConfig


class RecordsConfig(AppConfig):
    """Entry in ``INSTALLED_APPS``."""

    name = "registry.records"
    label = "records"
    verbose_name = "Records"
    default_auto_field = "django.db.models.BigAutoField"
