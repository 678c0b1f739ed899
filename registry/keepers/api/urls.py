"""Addresses of keepers, under ``/api/v1/``."""

from __future__ import annotations

from django.urls import path

from registry.keepers.api.views import KeepersView, OwnKeeperView

urlpatterns = [
    path("keepers/", KeepersView.as_view(), name="keepers"),
    path("keepers/me/", OwnKeeperView.as_view(), name="keeper-own"),
]
