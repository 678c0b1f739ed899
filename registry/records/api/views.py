"""Calls about a keeper's own record: read, take along, erase."""

from __future__ import annotations

from typing import Any, Final

from django.http import StreamingHttpResponse
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework.renderers import BaseRenderer, JSONRenderer
from rest_framework.request import Request
from rest_framework.response import Response

from registry.api.base import ApiView
from registry.api.conditions import Precondition, conditional_edit
from registry.api.parameters import parameter_name
from registry.keepers.models import Keeper
from registry.keepers.permissions import IsKeeper, keeper_of
from registry.records.api.serializers import ExportSerializer, KeeperSerializer, ReceiptSerializer
from registry.records.choices import ExportForm
from registry.records.downloads import JSON, ZIP, export_download
from registry.records.selectors import keeper_record
from registry.records.services import keeper_erase

_PRIVATE: Final = {"Cache-Control": "no-store"}


class OwnKeeperView(ApiView):
    """The keeper of the token."""

    permission_classes = (IsKeeper,)

    @extend_schema(operation_id="keeper_own", responses=KeeperSerializer)
    def get(self, request: Request) -> Response:
        """The keeper's own record."""
        return Response(_record_shown(keeper_of(request)))

    @extend_schema(operation_id="keeper_erase", responses={200: ReceiptSerializer})
    @conditional_edit
    def delete(self, request: Request) -> Response:
        """Erase the keeper: tokens, animals, pairings, clutches, and their part in every pool.

        At once, for good, and without a question: take an export first. What can be checked
        afterwards: the token is unknown, `keepers/erasures/{receipt}/` answers with the day, and
        the clutches are gone from the counts of `combinations/`. The receipt is the SHA-256 of
        the keeper's id, and beside the day it is all that is kept, so that a restored backup can
        be made to forget the keeper again.
        """
        precondition, keeper = Precondition(request), keeper_of(request)
        erased = keeper_erase(
            keeper.pk, unchanged=lambda: precondition.check(_record_shown(keeper))
        )
        answer = {
            "erased_on": erased.erased_on,
            "removed": erased.removed,
            "receipt": erased.receipt,
        }
        return Response(ReceiptSerializer(answer).data, headers=_PRIVATE)


def _record_shown(keeper: Keeper) -> Any:
    return KeeperSerializer(keeper_record(keeper)).data


class ZipRenderer(BaseRenderer):
    """Lets a caller accept a ZIP; the file itself is written by the export."""

    media_type = ZIP
    format = "zip"

    def render(
        self,
        data: Any,
        accepted_media_type: str | None = None,
        renderer_context: Any = None,
    ) -> Any:
        """Never called: the view answers with a file."""
        raise NotImplementedError


class ExportView(ApiView):
    """Everything of the keeper."""

    permission_classes = (IsKeeper,)
    renderer_classes = (JSONRenderer, ZipRenderer)  # type: ignore[assignment]
    known_parameters = ("form",)

    @extend_schema(
        operation_id="keeper_export",
        parameters=[
            OpenApiParameter(
                "form",
                enum=ExportForm.values,
                description="`json` (default) or `csv`: a ZIP of CSV files, in which a list of "
                "objects has a file of its own. A caller who accepts a ZIP only gets `csv`.",
            )
        ],
        responses={(200, JSON): ExportSerializer, (200, ZIP): OpenApiTypes.BINARY},
    )
    def get(self, request: Request) -> StreamingHttpResponse:
        """Everything that is kept of the keeper, but for its secrets, which are kept as digests."""
        wanted = ExportForm.CSV if request.accepted_media_type == ZIP else ExportForm.JSON
        form = parameter_name(request, "form", ExportForm.values, default=wanted)
        return export_download(keeper_of(request), form)
