"""Where log lines go and in which form; nothing here needs Django."""

from __future__ import annotations

from typing import Any, Final

_FORMATTERS: Final = {
    "plain": "registry.operation.logs.PlainFormatter",
    "json": "registry.operation.logs.JsonFormatter",
}


def logging_settings(log_format: str) -> dict[str, Any]:
    """Settings of the standard library's logging: everything goes to standard error.

    Parameters
    ----------
    log_format
        One of ``LOG_FORMATS``.
    """
    return {
        "version": 1,
        "disable_existing_loggers": False,
        "filters": {
            "routes": {"()": "registry.operation.logs.RouteFilter"},
            "secrets": {"()": "registry.api.scrubbing.SecretsFilter"},
        },
        "formatters": {"chosen": {"()": _FORMATTERS[log_format]}},
        "handlers": {
            "stderr": {
                "class": "logging.StreamHandler",
                "formatter": "chosen",
                # In this order: the second may fold the arguments into the message.
                "filters": ["routes", "secrets"],
            }
        },
        "root": {"handlers": ["stderr"], "level": "WARNING"},
        "loggers": {
            # Refusals: no fault of the service, and they would fill the log with what was asked.
            "django.request": {"level": "ERROR"},
            "django.security.DisallowedHost": {"level": "CRITICAL"},
            "django_structlog.middlewares.request": {"level": "INFO"},
        },
    }
