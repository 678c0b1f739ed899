"""Addresses of pairings, under ``/api/v1/``."""

from __future__ import annotations

from django.urls import path

from registry.pairings.api.views import AnimalsView, AnimalView, PairingsView

urlpatterns = [
    path("pairings/", PairingsView.as_view(), name="pairings"),
    path("animals/", AnimalsView.as_view(), name="animals"),
    path("animals/<uuid:animal_id>/", AnimalView.as_view(), name="animal"),
]
