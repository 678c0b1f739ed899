"""Pages of lists: ``cursor`` and ``page_size``, links in the body and in the ``Link`` header."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, ClassVar, NoReturn

from django.core import signing
from rest_framework.pagination import BasePagination
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.utils.urls import remove_query_param, replace_query_param
from rest_framework.views import APIView

from registry.api.keyset import (
    Key,
    OrderColumn,
    keyed_rows,
    order_columns,
    packed_value,
    take_key,
    unpacked_value,
)
from registry.api.parameters import parameter_number
from registry.errors import FieldsError, InvalidCursorError, PlacedError

CURSOR = "cursor"
PAGE_SIZE = "page_size"
DEFAULT_PAGE_SIZE = 50
MAX_PAGE_SIZE = 200


class KeysetPagination(BasePagination):
    """Pages by key over model rows or ``.values()`` rows, in any order by columns.

    The order is that of the queryset; the view's ``page_key`` (default ``("pk",)``) is appended so
    that no two rows are equal. Grouped rows have no ``pk``: their view names what they are grouped
    by. A cursor is signed and holds for one path and one order; filters and page size may change
    under way. Rows added or removed meanwhile neither repeat nor hide others.
    """

    parameters: ClassVar[Sequence[str]] = (CURSOR, PAGE_SIZE)

    def paginate_queryset(
        self, queryset: Any, request: Request, view: APIView | None = None
    ) -> list[Any]:
        """Rows of the page that the request asks for."""
        self._request = request
        size = parameter_number(
            request, PAGE_SIZE, low=1, high=MAX_PAGE_SIZE, default=DEFAULT_PAGE_SIZE
        )
        columns = order_columns(queryset, getattr(view, "page_key", ("pk",)))
        self._terms = [column.term for column in columns]
        cursor = self._read_cursor(columns)
        after, backwards = cursor or (None, False)
        rows = keyed_rows(queryset, columns, after=after, backwards=backwards, limit=size + 1)
        has_more = len(rows) > size
        page = rows[:size]
        if backwards:
            page.reverse()
        keys = [take_key(row, columns) for row in page]
        self._links = self._make_links(
            keys, came_from=cursor is not None, backwards=backwards, has_more=has_more
        )
        return page

    def _make_links(
        self, keys: list[Key], *, came_from: bool, backwards: bool, has_more: bool
    ) -> dict[str, str]:
        """``next`` and ``prev``, where there are such pages."""
        url = self._request.build_absolute_uri()
        if not keys:
            # Behind the last row, or what was there is gone: only the beginning is left.
            return {"prev": remove_query_param(url, CURSOR)} if came_from else {}
        links: dict[str, str] = {}
        if has_more or backwards:
            links["next"] = self._url(url, keys[-1], backwards=False)
        if (backwards and has_more) or (came_from and not backwards):
            links["prev"] = self._url(url, keys[0], backwards=True)
        return links

    def get_paginated_response(self, data: Any) -> Response:
        """The page with its links."""
        body = {
            "next": self._links.get("next"),
            "previous": self._links.get("prev"),
            "results": data,
        }
        link = ", ".join(f'<{url}>; rel="{relation}"' for relation, url in self._links.items())
        return Response(body, headers={"Link": link} if link else {})

    # --- cursors ------------------------------------------------------------------------------

    def _signer(self) -> signing.Signer:
        # The path is part of the salt: a cursor of another list is no cursor of this one.
        return signing.Signer(salt=f"registry.api.paging:{self._request.path}")

    def _url(self, url: str, key: Key, *, backwards: bool) -> str:
        content = [self._terms, backwards, [packed_value(value) for value in key]]
        return replace_query_param(url, CURSOR, self._signer().sign_object(content))

    def _read_cursor(self, columns: Sequence[OrderColumn]) -> tuple[Key, bool] | None:
        text = self._request.query_params.get(CURSOR)
        if text is None:
            return None
        try:
            terms, backwards, packed = self._signer().unsign_object(text)
            key = tuple(unpacked_value(value) for value in packed)
        # Signed by us, so its parts are well formed; what is cut or changed fails the signature.
        except (signing.BadSignature, ValueError, TypeError):
            _refuse("The cursor was not given out by this list, or it was cut or changed.")
        if terms != self._terms or len(key) != len(columns):
            _refuse("The cursor was given out for another ordering of this list.")
        return key, bool(backwards)

    # --- OpenAPI ------------------------------------------------------------------------------

    def get_paginated_response_schema(self, schema: dict[str, Any]) -> dict[str, Any]:
        """Shape of a page."""
        link = {"type": ["string", "null"], "format": "uri"}
        return {
            "type": "object",
            "required": ["next", "previous", "results"],
            "properties": {"next": link, "previous": link, "results": schema},
        }

    def get_schema_operation_parameters(self, view: APIView) -> list[dict[str, Any]]:
        """The two parameters as OpenAPI has them."""
        return [
            {
                "name": CURSOR,
                "in": "query",
                "required": False,
                "description": "Where the page begins: taken from a link, never made up.",
                "schema": {"type": "string"},
            },
            {
                "name": PAGE_SIZE,
                "in": "query",
                "required": False,
                "description": "Most rows on the page.",
                "schema": {
                    "type": "integer",
                    "minimum": 1,
                    "maximum": MAX_PAGE_SIZE,
                    "default": DEFAULT_PAGE_SIZE,
                },
            },
        ]


def _refuse(message: str) -> NoReturn:
    error = InvalidCursorError(message + " Start again without one.")
    raise FieldsError([PlacedError(error, parameter=CURSOR)])
