"""Addresses of combinations and flags, under ``/api/v1/``."""

from __future__ import annotations

from django.urls import path

from registry.combinations.api.views import CombinationsView, CombinationView, FlagsView

urlpatterns = [
    path("combinations/", CombinationsView.as_view(), name="combinations"),
    path("combinations/<str:species>/<str:genes>/", CombinationView.as_view(), name="combination"),
    path("flags/", FlagsView.as_view(), name="flags"),
]
