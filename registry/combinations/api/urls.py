"""Addresses of combinations and flags, under ``/api/v1/``."""

from __future__ import annotations

from django.urls import path

from registry.combinations.api.views import (
    CombinationsView,
    CombinationView,
    FlagsView,
    HistoryView,
)

urlpatterns = [
    path("combinations/", CombinationsView.as_view(), name="combinations"),
    path("combinations/<str:species>/<str:genes>/", CombinationView.as_view(), name="combination"),
    path(
        "combinations/<str:species>/<str:genes>/history/",
        HistoryView.as_view(),
        name="combination-history",
    ),
    path("flags/", FlagsView.as_view(), name="flags"),
]
