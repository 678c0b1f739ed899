"""Addresses of the catalogue, under ``/api/v1/``."""

from __future__ import annotations

from django.urls import path

from registry.catalogue.api.views import (
    GenesView,
    NotationView,
    SpeciesListView,
    SpeciesView,
)

urlpatterns = [
    path("species/", SpeciesListView.as_view(), name="species-list"),
    path("species/<str:species>/", SpeciesView.as_view(), name="species"),
    path("species/<str:species>/genes/", GenesView.as_view(), name="genes"),
    path("notation/", NotationView.as_view(), name="notation"),
]
