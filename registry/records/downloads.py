"""A keeper's export as a file that is sent."""

from __future__ import annotations

from typing import Final

from django.http import StreamingHttpResponse

from registry.keepers.models import Keeper
from registry.keepers.selectors import today
from registry.records.choices import ExportForm
from registry.records.exporting import export_json, export_zip

JSON: Final = "application/json"
ZIP: Final = "application/zip"


def export_download(keeper: Keeper, form: str) -> StreamingHttpResponse:
    """Everything of a keeper in one of ``ExportForm``, to be kept by nothing on the way."""
    is_csv = form == ExportForm.CSV
    made = (export_zip if is_csv else export_json)(keeper)
    name = f"broodcount-{today()}.{'zip' if is_csv else 'json'}"
    return StreamingHttpResponse(
        made,
        content_type=ZIP if is_csv else JSON,
        headers={
            "Cache-Control": "no-store",
            "Content-Length": str(made.n_bytes),
            "ETag": f'"{made.sha256}"',
            "Content-Disposition": f'attachment; filename="{name}"',
        },
    )
