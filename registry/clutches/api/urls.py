"""Addresses of clutches, under ``/api/v1/``."""

from __future__ import annotations

from django.urls import path

from registry.clutches.api.bulk_views import ClutchBulkView, ClutchTemplateView
from registry.clutches.api.views import ClutchChecksView, ClutchesView, ClutchView

urlpatterns = [
    path("clutches/", ClutchesView.as_view(), name="clutches"),
    path("clutches/bulk/", ClutchBulkView.as_view(), name="clutches-bulk"),
    path("clutches/bulk/template/", ClutchTemplateView.as_view(), name="clutches-template"),
    path("clutches/<uuid:clutch_id>/", ClutchView.as_view(), name="clutch"),
    path("clutch-checks/", ClutchChecksView.as_view(), name="clutch-checks"),
]
