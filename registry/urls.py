"""Addresses of the whole service."""

from __future__ import annotations

from typing import Any, Final

from django.urls import URLPattern, URLResolver, include, path

from registry.moderation.choices import PREFIX
from registry.moderation.site import site

API: Final = "api/v1/"

urlpatterns: list[URLPattern | URLResolver] = [
    path(PREFIX, site.urls),
    path(API, include("registry.api.urls")),
    path(API, include("registry.catalogue.api.urls")),
    path(API, include("registry.keepers.api.urls")),
    path(API, include("registry.pairings.api.urls")),
    path(API, include("registry.clutches.api.urls")),
    path(API, include("registry.forecasts.api.urls")),
    path(API, include("registry.combinations.api.urls")),
    path(API, include("registry.records.api.urls")),
    path(API, include("registry.exports.api.urls")),
    path(API, include("registry.feeds.api.urls")),
    path("", include("registry.pages.urls")),
]

handler400: Any = "registry.api.problems.bad_request"
handler403: Any = "registry.api.problems.permission_denied"
handler404: Any = "registry.api.problems.not_found"
handler500: Any = "registry.api.problems.server_error"
