"""The web server's own log, without tokens and without addresses of callers.

The server keeps no access log. Its error log names the address of whoever sends what is no HTTP,
and quotes the line or header at fault.
"""

from __future__ import annotations

import logging
import os
import re
from typing import Any, Final

from gunicorn.glogging import Logger  # type: ignore[import-untyped]

from registry.api.scrubbing import SecretsFilter
from registry.operation.logs import JsonFormatter, PlainFormatter
from registry.settings.environment import read_environment

_ADDRESS: Final = re.compile(r"\bip=\S+?(?=: |$)")


class PrivateFilter(SecretsFilter):
    """Cuts addresses out as well."""

    def clean(self, text: str) -> str:
        """The text as it may be logged."""
        return _ADDRESS.sub("ip=...", super().clean(text))


class PrivateLogger(Logger):  # type: ignore[misc]
    """``--logger-class`` of the web server."""

    def setup(self, cfg: Any) -> None:
        """Put the filter on every handler, and have the lines in the service's form."""
        super().setup(cfg)
        is_json = read_environment(os.environ).log_format == "json"
        formatter: logging.Formatter = JsonFormatter() if is_json else PlainFormatter()
        for handler in (*self.error_log.handlers, *self.access_log.handlers):
            handler.addFilter(PrivateFilter())
            handler.setFormatter(formatter)
