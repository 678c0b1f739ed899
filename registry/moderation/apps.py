"""Moderators, holds with their reasons, and the audit trail."""

from __future__ import annotations

from importlib import import_module

from django.apps import AppConfig


class ModerationConfig(AppConfig):
    """Entry in ``INSTALLED_APPS``."""

    name = "registry.moderation"
    label = "moderation"
    verbose_name = "Moderation"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        """Register what moderators see: Django looks for ``admin`` modules of its own site only."""
        import_module("registry.moderation.admin")
