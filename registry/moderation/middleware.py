"""The pages of moderation are not there unless the operator opens them."""

from __future__ import annotations

from collections.abc import Callable

from django.conf import settings
from django.http import Http404, HttpRequest
from django.http.response import HttpResponseBase

from registry.moderation.choices import PREFIX


class ModerationMiddleware:
    """404 for all of them while ``BROODCOUNT_ADMIN`` is off.

    Before sessions and the check of forms: those would answer 403 to a form from elsewhere, and so
    tell that there is a page.
    """

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponseBase]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        """The answer, or that there is none.

        Raises
        ------
        Http404
        """
        if request.path_info.startswith(f"/{PREFIX}") and not settings.BROODCOUNT_ADMIN:
            raise Http404
        return self.get_response(request)
