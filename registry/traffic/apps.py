"""What holds for callers of every call: retries answered once, and how many calls they may make."""

from __future__ import annotations

from django.apps import AppConfig


class TrafficConfig(AppConfig):
    """Entry in ``INSTALLED_APPS``."""

    name = "registry.traffic"
    label = "traffic"
    verbose_name = "Traffic"
    default_auto_field = "django.db.models.BigAutoField"
