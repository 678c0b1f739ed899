"""Addresses of clutches, under ``/api/v1/``."""

from __future__ import annotations

from django.urls import path

from registry.clutches.api.bulk_views import ClutchBulkView, ClutchTemplateView
from registry.clutches.api.revision_views import (
    AnimalStatusesView,
    ClutchOpinionsView,
    DuplicatesView,
    DuplicateView,
    LookAlikesView,
    OpinionsView,
    RevisionsView,
)
from registry.clutches.api.views import ClutchChecksView, ClutchesView, ClutchView

urlpatterns = [
    path("clutches/", ClutchesView.as_view(), name="clutches"),
    path("clutches/bulk/", ClutchBulkView.as_view(), name="clutches-bulk"),
    path("clutches/bulk/template/", ClutchTemplateView.as_view(), name="clutches-template"),
    path("clutches/<uuid:clutch_id>/", ClutchView.as_view(), name="clutch"),
    path("clutches/<uuid:clutch_id>/revisions/", RevisionsView.as_view(), name="revisions"),
    path(
        "clutches/<uuid:clutch_id>/opinions/", ClutchOpinionsView.as_view(), name="clutch-opinions"
    ),
    path("second-opinions/", OpinionsView.as_view(), name="second-opinions"),
    path("animals/<uuid:animal_id>/statuses/", AnimalStatusesView.as_view(), name="animal-bred"),
    path("duplicates/", DuplicatesView.as_view(), name="duplicates"),
    path("duplicates/<uuid:duplicate_id>/", DuplicateView.as_view(), name="duplicate"),
    path("species/<str:species>/look-alikes/", LookAlikesView.as_view(), name="look-alikes"),
    path("clutch-checks/", ClutchChecksView.as_view(), name="clutch-checks"),
]
