"""What operators need: health, metrics, checks. No models."""

from __future__ import annotations

from django.apps import AppConfig


class OperationConfig(AppConfig):
    """Entry in ``INSTALLED_APPS``."""

    name = "registry.operation"
    label = "operation"
    verbose_name = "Operation"
    default_auto_field = "django.db.models.BigAutoField"
