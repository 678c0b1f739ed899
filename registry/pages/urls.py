"""Addresses of the pages."""

from __future__ import annotations

from typing import Final

from django.urls import URLPattern, path

from registry.pages.views.account import (
    AccountView,
    ErasedView,
    EraseView,
    ExportView,
    RecoverView,
    TokensView,
)
from registry.pages.views.ask import (
    AnswerView,
    AskView,
    EvidenceOverTimeView,
    EvidencePictureView,
)
from registry.pages.views.check import CheckView
from registry.pages.views.forecast import ForecastView
from registry.pages.views.own import (
    ClutchesView,
    ClutchView,
    DuplicatesView,
)
from registry.pages.views.pairings import DeclareView, PairingsView
from registry.pages.views.report import DraftView, ReportView
from registry.pages.views.revising import ReviseView, WithdrawView
from registry.pages.views.signing import JoinView, SignInView, SignOutView
from registry.pages.views.suggestions import SuggestionsView
from registry.pages.views.watch import WatchView

app_name: Final = "pages"

urlpatterns: list[URLPattern] = [
    path("", AskView.as_view(), name="ask"),
    path("combinations/<str:species>/<str:genes>/", AnswerView.as_view(), name="answer"),
    path(
        "combinations/<str:species>/<str:genes>/over-time/",
        EvidenceOverTimeView.as_view(),
        name="over-time",
    ),
    path(
        "combinations/<str:species>/<str:genes>/over-time.svg",
        EvidencePictureView.as_view(),
        name="over-time-picture",
    ),
    path("suggestions/", SuggestionsView.as_view(), name="suggestions"),
    path("watch/", WatchView.as_view(), name="watch"),
    path("forecast/", ForecastView.as_view(), name="forecast"),
    path("clutch-in-hand/", CheckView.as_view(), name="check"),
    path("report/", ReportView.as_view(), name="report"),
    path("report/<uuid:draft_id>/", DraftView.as_view(), name="draft"),
    path("mine/", ClutchesView.as_view(), name="clutches"),
    path("mine/clutches/<uuid:clutch_id>/", ClutchView.as_view(), name="clutch"),
    path("mine/clutches/<uuid:clutch_id>/revise/", ReviseView.as_view(), name="revise"),
    path("mine/clutches/<uuid:clutch_id>/withdraw/", WithdrawView.as_view(), name="withdraw"),
    path("mine/duplicates/", DuplicatesView.as_view(), name="duplicates"),
    path("mine/pairings/", PairingsView.as_view(), name="pairings"),
    path("mine/pairings/declare/", DeclareView.as_view(), name="declare"),
    path("account/", AccountView.as_view(), name="account"),
    path("account/tokens/", TokensView.as_view(), name="tokens"),
    path("account/export/", ExportView.as_view(), name="export"),
    path("account/erase/", EraseView.as_view(), name="erase"),
    path("account/erased/", ErasedView.as_view(), name="erased"),
    path("recover/", RecoverView.as_view(), name="recover"),
    path("sign-in/", SignInView.as_view(), name="sign-in"),
    path("sign-out/", SignOutView.as_view(), name="sign-out"),
    path("join/", JoinView.as_view(), name="join"),
]
