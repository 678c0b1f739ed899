"""Pages for keepers beside the interface. No models, no rules of their own."""

from __future__ import annotations

from django.apps import AppConfig


class PagesConfig(AppConfig):
    """Entry in ``INSTALLED_APPS``."""

    name = "registry.pages"
    label = "pages"
    verbose_name = "Pages"
    default_auto_field = "django.db.models.BigAutoField"
