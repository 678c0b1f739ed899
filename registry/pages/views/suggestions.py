"""Suggestions while somebody types, for the script of the pages."""

from __future__ import annotations

from django.http import HttpRequest, JsonResponse

from registry.pages.suggesting import suggestions
from registry.pages.views.base import PageView


class SuggestionsView(PageView):
    """What a half-typed text may become."""

    def get(self, request: HttpRequest) -> JsonResponse:
        """``{"suggestions": [...]}``: whole texts, at most eight."""
        found = suggestions(request.GET.get("species", ""), request.GET.get("text", ""))
        response = JsonResponse({"suggestions": found})
        response.headers["Cache-Control"] = "public, max-age=300"
        return response
