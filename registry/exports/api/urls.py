"""Addresses of the open data, under ``/api/v1/``."""

from __future__ import annotations

from django.urls import path

from registry.exports.api.views import ExportsView, PoolsFileView

urlpatterns = [
    path("exports/", ExportsView.as_view(), name="exports"),
    path("exports/pools/<str:species>.csv", PoolsFileView.as_view(), name="exports-pools"),
]
