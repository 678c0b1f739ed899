"""The limit on calls, where REST framework asks for it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rest_framework.request import Request
from rest_framework.throttling import BaseThrottle

from registry.errors import TooManyRequestsError
from registry.traffic.callers import caller_of_call
from registry.traffic.limits import Count, calls_counted
from registry.wording import wait_text

if TYPE_CHECKING:  # the module of the views reads the setting that names this class
    from rest_framework.views import APIView

_FREE = "OPTIONS"
_COUNT = "calls_count"


class CallsThrottle(BaseThrottle):
    """Counts every call but OPTIONS; what was counted is noted for the headers of the answer."""

    def allow_request(self, request: Request, view: APIView) -> bool:
        """True within the limit. Raises `TooManyRequestsError` beyond it."""
        if request.method == _FREE:
            return True
        caller = caller_of_call(request)
        count = calls_counted(caller)
        if count is None:
            return True
        setattr(request._request, _COUNT, count)  # noqa: SLF001 - where the middleware finds it
        if count.is_refused:
            whom = "one keeper" if caller.is_keeper else "one address without a token"
            raise TooManyRequestsError(
                f"{count.limit} calls are answered in {count.seconds} seconds from {whom}; the "
                f"next one is in {wait_text(count.seconds_left)}.",
                retry_after=count.seconds_left,
            )
        return True


def count_of(request: object) -> Count | None:
    """What was counted for a request, if it was counted."""
    found: Count | None = getattr(request, _COUNT, None)
    return found
