"""Addresses of the feeds, under ``/api/v1/``."""

from __future__ import annotations

from django.urls import path

from registry.feeds.api.views import AllFlagsFeedView, CombinationFeedView, FlagsFeedView

urlpatterns = [
    path("feeds/flags.atom", AllFlagsFeedView.as_view(), name="feed-all-flags"),
    path("feeds/flags/<str:species>.atom", FlagsFeedView.as_view(), name="feed-flags"),
    path(
        "feeds/combinations/<str:species>/<str:genes>.atom",
        CombinationFeedView.as_view(),
        name="feed-combination",
    ),
]
