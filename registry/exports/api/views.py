"""The open data over HTTP."""

from __future__ import annotations

from typing import Any

from django.http import HttpResponseBase
from django.urls import reverse
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiResponse, extend_schema
from rest_framework.permissions import AllowAny
from rest_framework.request import Request
from rest_framework.response import Response

from registry.api.base import ApiView
from registry.api.files import FileRenderer, file_response, made_file
from registry.exports.api.serializers import descriptor_schema
from registry.exports.selectors import package_descriptor, pools_pieces


class CsvRenderer(FileRenderer):
    """Comma-separated values (RFC 4180, RFC 7111)."""

    media_type = "text/csv"
    format = "csv"


class ExportsView(ApiView):
    """The descriptor of the open data."""

    authentication_classes = ()
    permission_classes = (AllowAny,)

    @extend_schema(
        operation_id="export_read",
        responses={
            200: descriptor_schema(),
            404: OpenApiResponse(description="The catalogue has no species yet."),
        },
    )
    def get(self, request: Request) -> Response:
        """A Data Package (version 2): the files of pooled counts, their columns and licence."""

        def path_of(species: str) -> str:
            return request.build_absolute_uri(reverse("exports-pools", args=[species]))

        return Response(package_descriptor(path_of))


class PoolsFileView(ApiView):
    """Pooled counts of one species."""

    authentication_classes = ()
    permission_classes = (AllowAny,)
    renderer_classes: Any = (CsvRenderer,)

    @extend_schema(
        operation_id="export_pools",
        responses={
            (200, CsvRenderer.media_type): OpenApiTypes.STR,
            304: OpenApiResponse(description="The file has the tag of `If-None-Match`."),
        },
    )
    def get(self, request: Request, species: str) -> HttpResponseBase:
        """Pooled counts by combination and parents, as CSV; columns as in `exports/`."""
        file = made_file(pools_pieces(species))
        return file_response(
            request,
            file,
            media_type=CsvRenderer.media_type,
            filename=f"pools-{species}.csv",
        )
