"""What is left of the caller's calls, on every answer that was counted."""

from __future__ import annotations

from collections.abc import Callable
from http import HTTPStatus
from typing import Final

from django.http import HttpRequest, HttpResponseBase

from registry.traffic.limits import call_given_back
from registry.traffic.throttling import count_of

POLICY: Final = "RateLimit-Policy"
LIMIT: Final = "RateLimit"


class CallsLeftMiddleware:
    """Adds the fields of draft-ietf-httpapi-ratelimit-headers; a 304 is given back.

    Whoever asks again whether something changed costs little and shall not be kept from it.
    """

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponseBase]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        """The answer with the fields."""
        response = self.get_response(request)
        count = count_of(request)
        if count is None:
            return response
        left = count.left
        if response.status_code == HTTPStatus.NOT_MODIFIED:
            call_given_back(count)
            left += 1
        response.headers[POLICY] = f'"{count.policy}";q={count.limit};w={count.seconds}'
        response.headers[LIMIT] = f'"{count.policy}";r={left};t={count.seconds_left}'
        return response
