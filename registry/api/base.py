"""Views to build on: strict parameters, strict JSON in, JSON out, lists by pages."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, ClassVar

from django.db.models import QuerySet
from rest_framework.generics import ListAPIView
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from registry.api.counting import RefusalsCountMixin
from registry.api.ordering import StrictOrderingFilter
from registry.api.paging import KeysetPagination
from registry.api.parameters import KnownParametersMixin, StrictFilterBackend
from registry.api.parsers import StrictJSONParser
from registry.api.renderers import OneFormJSONRenderer
from registry.api.serializers import StrictSerializer
from registry.errors import InvalidBodyError, at


class ApiView(RefusalsCountMixin, KnownParametersMixin, APIView):
    """A call. ``max_body_bytes`` may allow a larger body than the setting does."""

    parser_classes = (StrictJSONParser,)
    renderer_classes = (OneFormJSONRenderer,)
    max_body_bytes: ClassVar[int | None] = None

    def body(self, serializer_class: type[StrictSerializer]) -> Any:
        """Validated body; every fault in it is answered at once."""
        if self.request.data is None:
            with at():
                raise InvalidBodyError("Read null, expected an object.")
        serializer = serializer_class(data=self.request.data)
        serializer.is_valid(raise_exception=True)
        return serializer.validated_data


class ApiListView(ApiView, ListAPIView[Any]):
    """A list by pages, filtered and ordered.

    Give ``get_queryset`` (from a selector; model rows or ``.values()`` rows), ``filterset_class``,
    ``ordering_fields``, ``ordering``, and ``row`` or ``serializer_class``. Grouped rows need
    ``page_key``: the names that make them unique.
    """

    pagination_class = KeysetPagination
    filter_backends = (StrictFilterBackend, StrictOrderingFilter)
    ordering: ClassVar[Sequence[str]] = ()
    page_key: ClassVar[Sequence[str]] = ("pk",)

    def list(self, request: Request, *args: Any, **kwargs: Any) -> Response:
        """One page of the list."""
        rows: QuerySet[Any] = self.filter_queryset(self.get_queryset())
        page = self.paginate_queryset(rows) or []
        return self.get_paginated_response(self.page_rows(page))

    def page_rows(self, page: Sequence[Any]) -> Any:
        """All rows of a page; where they are answered one by one, give ``row`` instead."""
        return [self.row(one) for one in page]

    def row(self, one: Any) -> Any:
        """One row as it is answered: a dict as it is, a model row through the serializer."""
        if isinstance(one, dict):
            return one
        return self.get_serializer(one).data
