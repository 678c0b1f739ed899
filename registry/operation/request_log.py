"""One log line for each request: method, route, status, time; nothing about the caller."""

from __future__ import annotations

import secrets
import time
from typing import Any, Final

import structlog
from django.http import HttpRequest, HttpResponse
from django_structlog.middlewares import RequestMiddleware

from registry.operation.logs import route_of

REQUEST_ID: Final = "X-Request-Id"
_METHODS: Final = frozenset({"GET", "HEAD", "OPTIONS", "POST", "PUT", "PATCH", "DELETE"})


class RequestLogMiddleware(RequestMiddleware):
    """The library's middleware without address, user, user agent, query and path.

    The path holds ids of a keeper's clutches, so the route is logged. The id of a request is our
    own, never the caller's, who could write anything there; the answer carries it, so that
    somebody who reports a failure can name the line.
    """

    def prepare(self, request: HttpRequest) -> None:
        """Bind the request's id; what a failure logs carries it too."""
        structlog.contextvars.clear_contextvars()
        request_id = secrets.token_hex(16)
        structlog.contextvars.bind_contextvars(request_id=request_id)
        vars(request)["log_start"] = (request_id, time.monotonic())

    def handle_response(self, request: HttpRequest, response: HttpResponse) -> None:
        """Log the answer."""
        request_id, started = vars(request)["log_start"]
        milliseconds = round(1000 * (time.monotonic() - started), 1)
        structlog.contextvars.bind_contextvars(ms=milliseconds)
        response.headers[REQUEST_ID] = request_id
        super().handle_response(request, response)

    @staticmethod
    def format_request(request: Any) -> str:
        """Method and route; a method may be any word."""
        method = request.method if request.method in _METHODS else "(other)"
        return f"{method} {route_of(request)}"
