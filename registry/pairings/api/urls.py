"""Addresses of pairings, under ``/api/v1/``."""

from __future__ import annotations

from django.urls import path

from registry.pairings.api.views import PairingsView

urlpatterns = [path("pairings/", PairingsView.as_view(), name="pairings")]
