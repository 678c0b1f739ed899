"""Addresses of keepers, under ``/api/v1/``."""

from __future__ import annotations

from django.urls import path

from registry.keepers.api.views import (
    ErasureView,
    KeepersView,
    RecoveriesView,
    RecoveryCodeView,
    TokensView,
    TokenView,
)

urlpatterns = [
    path("keepers/", KeepersView.as_view(), name="keepers"),
    path("keepers/recoveries/", RecoveriesView.as_view(), name="keeper-recoveries"),
    path("keepers/erasures/<str:receipt>/", ErasureView.as_view(), name="keeper-erasure"),
    path("keepers/me/tokens/", TokensView.as_view(), name="keeper-tokens"),
    path("keepers/me/tokens/<uuid:token_id>/", TokenView.as_view(), name="keeper-token"),
    path("keepers/me/recovery-code/", RecoveryCodeView.as_view(), name="keeper-recovery-code"),
]
