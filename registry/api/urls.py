"""Addresses of the interface about itself, under ``/api/v1/``."""

from __future__ import annotations

from django.urls import path

from registry.api.views import DocsView, IndexView, OpenApiView

app_name = "api"

urlpatterns = [
    path("", IndexView.as_view(), name="index"),
    path("openapi.json", OpenApiView.as_view(), name="openapi"),
    path("docs/", DocsView.as_view(), name="docs"),
]
