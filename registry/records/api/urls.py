"""Addresses of a keeper's own record, under ``/api/v1/``."""

from __future__ import annotations

from django.urls import path

from registry.records.api.views import ExportView, OwnKeeperView

urlpatterns = [
    path("keepers/me/", OwnKeeperView.as_view(), name="keeper-own"),
    path("keepers/me/export/", ExportView.as_view(), name="keeper-export"),
]
