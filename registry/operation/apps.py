"""What operators need: health, metrics, checks. No models."""

from __future__ import annotations

from django.apps import AppConfig


class OperationConfig(AppConfig):
    """Entry in ``INSTALLED_APPS``."""

    name = "registry.operation"
    label = "operation"
    verbose_name = "Operation"
    default_auto_field = "django.db.models.BigAutoField"

    def ready(self) -> None:
        """Register the checks, and join structlog to the standard library's logging."""
        from registry.operation.checks import register_checks  # noqa: PLC0415 - apps are ready now
        from registry.operation.logs import configure_structlog  # noqa: PLC0415

        register_checks()
        configure_structlog()
