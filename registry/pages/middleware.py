"""Errors on the pages, as pages."""

from __future__ import annotations

import json
from collections.abc import Callable

from django.http import HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import render

from registry.api.problems import MEDIA_TYPE
from registry.api.replacing import stands_for
from registry.pages.choices import KEEPER_COOKIE, NOT_PAGES

# They belong to the body that is replaced.
_REPLACED = frozenset({"content-type", "content-length"})


class PageErrorsMiddleware:
    """Shows a problem as a page to a browser that asked for a page.

    Everything below it answers errors as problems (RFC 9457), so their words are the same here and
    in the interface.
    """

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponseBase]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        """The answer, a problem dressed as a page."""
        response = self.get_response(request)
        if (
            isinstance(response, HttpResponse)
            and response.headers.get("Content-Type") == MEDIA_TYPE
            and is_for_pages(request)
        ):
            return _page_of(request, response)
        return response


def is_for_pages(request: HttpRequest) -> bool:
    """Whether a browser asks, and not at an address of the interface."""
    wants_page = "text/html" in request.META.get("HTTP_ACCEPT", "")
    return wants_page and not request.path_info.startswith(NOT_PAGES)


def _page_of(request: HttpRequest, response: HttpResponse) -> HttpResponse:
    problem = json.loads(response.content)
    page = render(
        request,
        "pages/problem.html",
        {
            "problem": problem,
            "title": problem["title"],
            # Not looked up: what failed may be the very database.
            "may_be_signed_in": KEEPER_COOKIE in request.COOKIES,
        },
        status=response.status_code,
    )
    stands_for(page, response, but=_REPLACED)
    return page
