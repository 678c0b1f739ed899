"""The shared part of the interface as an app, for its template and script."""

from django.apps import AppConfig


class ApiConfig(AppConfig):
    """No models."""

    name = "registry.api"
    label = "api"
    verbose_name = "Interface"
