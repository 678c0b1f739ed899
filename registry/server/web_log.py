"""What gunicorn itself has to say, in the service's form and without callers' addresses."""

from __future__ import annotations

import logging
import os
from typing import Any

from gunicorn.glogging import Logger  # type: ignore[import-untyped]

from registry.operation.logs import JsonFormatter, PlainFormatter
from registry.settings.environment import read_environment


class WebServerLogger(Logger):  # type: ignore[misc] # the library has no types
    """Gunicorn's logger; of a request that can't be read it would tell from where it came."""

    def setup(self, cfg: Any) -> None:
        """Set up the handlers as gunicorn does, then the form of the lines."""
        super().setup(cfg)
        is_json = read_environment(os.environ).log_format == "json"
        formatter: logging.Formatter = JsonFormatter() if is_json else PlainFormatter()
        for handler in self.error_log.handlers:
            handler.setFormatter(formatter)
