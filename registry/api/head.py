"""HEAD: the headers of a GET without its body."""

from __future__ import annotations

from collections.abc import Callable

from django.http import HttpRequest, HttpResponse, StreamingHttpResponse
from django.http.response import HttpResponseBase


class HeadMiddleware:
    """Drops the body of an answer to HEAD, which a server would drop with a warning.

    The length that is told stays that of the body (RFC 9110, section 9.3.2).
    """

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponseBase]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        """The answer; without a body for HEAD."""
        response = self.get_response(request)
        if request.method != "HEAD":
            return response
        if isinstance(response, StreamingHttpResponse):
            # What it holds open is closed when the answer is.
            response.streaming_content = iter(())
        elif isinstance(response, HttpResponse) and response.content:
            response.headers.setdefault("Content-Length", str(len(response.content)))
            response.content = b""
        return response
