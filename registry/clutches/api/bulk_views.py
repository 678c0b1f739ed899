"""Many clutches at once, and the table to fill in."""

from __future__ import annotations

from typing import Final

from django.http import HttpResponse, StreamingHttpResponse
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework.permissions import AllowAny
from rest_framework.request import Request

from registry.api.base import ApiView
from registry.api.files import FileRenderer
from registry.api.parameters import parameter_name
from registry.clutches.api.bulk_answers import AnsweredUpload, LineAnswers
from registry.clutches.api.bulk_parsers import CsvParser, JsonLinesParser, NdjsonParser
from registry.clutches.api.bulk_serializers import BULK_LINES
from registry.clutches.api.serializers import ClutchInSerializer
from registry.clutches.bulk.columns import COLUMNS
from registry.clutches.bulk.template import FILE_NAME, template_text
from registry.clutches.bulk.uploads import Upload
from registry.clutches.choices import MAX_BULK_BYTES
from registry.errors import InvalidBodyError
from registry.keepers.permissions import IsKeeper
from registry.traffic.idempotency import HEADER, key_of, key_pattern

_FLAGS: Final = ("true", "false")
_CSV_BODY: Final = {
    "type": "string",
    "description": (
        "A table in UTF-8 with a header, separated by comma, semicolon or tab; one clutch in each "
        f"row. Columns: {', '.join(COLUMNS)}. `clutches/bulk/template/` gives one to fill in."
    ),
}


class _LinesRenderer(FileRenderer):
    media_type = "application/jsonl"
    format = "jsonl"
    charset = None  # type: ignore[assignment] # JSON is UTF-8


class _NdjsonRenderer(_LinesRenderer):
    media_type = "application/x-ndjson"
    format = "ndjson"


class _CsvRenderer(FileRenderer):
    media_type = "text/csv"
    format = "csv"


class ClutchBulkView(ApiView):
    """Many clutches in one call."""

    permission_classes = (IsKeeper,)
    parser_classes = (JsonLinesParser, NdjsonParser, CsvParser)  # type: ignore[assignment]
    renderer_classes = (_LinesRenderer, _NdjsonRenderer)  # type: ignore[assignment]
    max_body_bytes = MAX_BULK_BYTES
    known_write_parameters = ("validate_only",)

    @extend_schema(
        operation_id="clutch_report_many",
        parameters=[
            OpenApiParameter(
                "validate_only", bool, description="Run every check and store nothing."
            ),
            OpenApiParameter(
                HEADER,
                {"type": "string", "pattern": key_pattern(shortest=1)},
                OpenApiParameter.HEADER,
                description="Bound to every line by its number: an upload that was cut off, sent "
                "again with the same key, stores what is not stored yet and answers the rest with "
                "the stored answers. A refused line may be corrected in its place.",
            ),
        ],
        request={
            "application/jsonl": ClutchInSerializer(many=True),
            "application/x-ndjson": ClutchInSerializer(many=True),
            "text/csv": _CSV_BODY,
        },
        responses={
            (200, "application/jsonl"): BULK_LINES,
            (200, "application/x-ndjson"): BULK_LINES,
        },
    )
    def post(self, request: Request) -> StreamingHttpResponse:
        """Report up to 5,000 clutches, as JSON lines or as a table; each is answered by itself.

        A refused line touches no other one. The answer has one line for each clutch, in order,
        and a summary at the end; what is wrong with the upload as a whole is answered before
        anything is stored.
        """
        validate_only = parameter_name(request, "validate_only", _FLAGS, default="false") == "true"
        key = key_of(request)
        upload = request.data
        if not isinstance(upload, Upload):  # the framework's stand-in for an empty body
            raise InvalidBodyError("The body is empty, expected clutches.")
        try:
            upload.check()
        except BaseException:
            upload.close()
            raise
        answers = LineAnswers(request, key=key, validate_only=validate_only)
        return StreamingHttpResponse(
            AnsweredUpload(upload, answers.answer_line),
            content_type=request.accepted_renderer.media_type,
            headers={
                "Cache-Control": "no-store",
                # nginx would gather lines, and each is to be seen when its clutch is stored.
                "X-Accel-Buffering": "no",
            },
        )


class ClutchTemplateView(ApiView):
    """The table to fill in."""

    authentication_classes = ()
    permission_classes = (AllowAny,)
    renderer_classes = (_CsvRenderer,)  # type: ignore[assignment]

    @extend_schema(
        operation_id="clutch_template",
        responses={(200, "text/csv"): {"type": "string"}},
    )
    def get(self, _request: Request) -> HttpResponse:
        """A table for `clutches/bulk/` with every column and three clutches as examples."""
        return HttpResponse(
            template_text(),
            content_type="text/csv; charset=utf-8; header=present",
            headers={"Content-Disposition": f'attachment; filename="{FILE_NAME}"'},
        )
