"""Log lines without anything that leads to a person: no token, no address, no id.

What is logged deliberately holds none of these. This module is the second line: the text of an
exception, of a library or of the web server is stripped on its way out, whoever wrote it.
"""

from __future__ import annotations

import ipaddress
import logging
import re
import sys
import traceback
from typing import Any, Final

import psycopg
import structlog
from django import db
from structlog.typing import EventDict, Processor, WrappedLogger

from registry.api.scrubbing import scrubbed

_AUTHORIZATION: Final = re.compile(r"(?i)\b(bearer|basic|token)\s+[A-Za-z0-9._~+/=-]{8,}")
_ID: Final = re.compile(r"(?i)\b[0-9a-f]{8}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{12}\b")
_ADDRESS: Final = re.compile(
    r"(?i)(?<![\w.:])(?:\d{1,3}(?:\.\d{1,3}){3}|[0-9a-f]{0,4}(?::[0-9a-f]{0,4}){2,7}"
    r"(?:\.\d{1,3}){0,3})(?![\w.]*\w)"
)
_PASSWORD_IN_URL: Final = re.compile(r"(?<=://)[^\s/@:]*:[^\s/@]+(?=@)")
_LONGEST_CHAIN: Final = 10


def redacted(text: str) -> str:
    """The text without secrets, ids and addresses; those of this machine itself stay."""
    text = _PASSWORD_IN_URL.sub("[secret]", text)
    text = scrubbed(text)
    text = _AUTHORIZATION.sub(r"\1 [secret]", text)
    return _ADDRESS.sub(_hidden_address, _ID.sub("[id]", text))


def _hidden_address(match: re.Match[str]) -> str:
    try:
        address = ipaddress.ip_address(match[0])
    except ValueError:
        return match[0]  # a time of day, a version
    return match[0] if address.is_loopback or address.is_unspecified else "[address]"


def exception_text(error: BaseException) -> str:
    """Where an exception came from, with those that led to it.

    One line of message each. A database's message may quote the values of a row, so of that only
    the kind of fault and the constraint are told.
    """
    parts: list[str] = []
    current: BaseException | None = error
    while current is not None and len(parts) < _LONGEST_CHAIN:
        frames = "".join(traceback.format_tb(current.__traceback__))
        parts.append(f"{frames}{type(current).__qualname__}: {_message(current)}")
        hidden = None if current.__suppress_context__ else current.__context__
        current = current.__cause__ or hidden
    return "\nwhich came from\n".join(parts)


def _message(error: BaseException) -> str:
    if isinstance(error, psycopg.Error) and error.sqlstate:
        constraint = error.diag.constraint_name
        return f"SQLSTATE {error.sqlstate}" + (f", constraint {constraint}" if constraint else "")
    if isinstance(error, db.Error) and isinstance(error.__cause__, psycopg.Error):
        return "told below"
    return str(error).partition("\n")[0]


class PlainFormatter(logging.Formatter):
    """One line a record, and a traceback below where there is one."""

    def __init__(self) -> None:
        super().__init__("{asctime} {levelname} {name}: {message}", style="{")

    def format(self, record: logging.LogRecord) -> str:
        if record.exc_info:
            record.exc_text = None  # made by another formatter or a filter, with more in it
        return redacted(super().format(record))

    def formatException(self, ei: Any) -> str:  # noqa: N802 - the library's name
        return exception_text(ei[1])


class JsonFormatter(structlog.stdlib.ProcessorFormatter):
    """One JSON object a line, from structlog and from the standard library alike."""

    def __init__(self) -> None:
        super().__init__(
            foreign_pre_chain=[structlog.contextvars.merge_contextvars, *_common()],
            processors=[
                structlog.stdlib.ProcessorFormatter.remove_processors_meta,
                _render_exception,
                structlog.processors.JSONRenderer(sort_keys=True),
            ],
        )

    def format(self, record: logging.LogRecord) -> str:
        return redacted(super().format(record))


def _render_exception(_logger: WrappedLogger, _name: str, event: EventDict) -> EventDict:
    """The exception as text; nothing of its frames' variables."""
    information = event.pop("exc_info", None)
    if isinstance(information, tuple):
        information = information[1]
    elif information is True:
        information = sys.exc_info()[1]
    if isinstance(information, BaseException):
        event["exception"] = exception_text(information)
    return event


def _common() -> list[Processor]:
    return [
        structlog.stdlib.add_log_level,
        structlog.stdlib.add_logger_name,
        structlog.processors.TimeStamper(fmt="iso", utc=True),
    ]


def configure_structlog() -> None:
    """Have what structlog is told go through the standard library, and so through one formatter."""
    structlog.configure(
        processors=[
            structlog.contextvars.merge_contextvars,
            structlog.stdlib.filter_by_level,
            *_common(),
            structlog.stdlib.PositionalArgumentsFormatter(),
            structlog.stdlib.ProcessorFormatter.wrap_for_formatter,
        ],
        logger_factory=structlog.stdlib.LoggerFactory(),
        wrapper_class=structlog.stdlib.BoundLogger,
        cache_logger_on_first_use=True,
    )


class RouteFilter(logging.Filter):
    """Puts the route in the place of the path, which may name a keeper's clutch."""

    def filter(self, record: logging.LogRecord) -> bool:
        """Always true; the record is changed."""
        request = getattr(record, "request", None)
        path = getattr(request, "path", None)
        if path is not None and isinstance(record.args, tuple):
            record.args = tuple(route_of(request) if one == path else one for one in record.args)
        return True


def route_of(request: Any) -> str:
    """Path of the call with names in place of its variable parts."""
    match = getattr(request, "resolver_match", None)
    return "/" + match.route if match is not None else "(no such call)"
