"""Forecasts of a pairing. No models."""

from __future__ import annotations

from django.apps import AppConfig


class ForecastsConfig(AppConfig):
    """Entry in ``INSTALLED_APPS``."""

    name = "registry.forecasts"
    label = "forecasts"
    verbose_name = "Forecasts"
    default_auto_field = "django.db.models.BigAutoField"
