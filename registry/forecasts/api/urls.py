"""Addresses of forecasts, under ``/api/v1/``."""

from __future__ import annotations

from django.urls import path

from registry.forecasts.api.views import ForecastsView

urlpatterns = [path("forecasts/", ForecastsView.as_view(), name="forecasts")]
