"""Lists on the pages, page by page as the interface has them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from types import SimpleNamespace
from typing import Any

from django.db.models import QuerySet
from django.http import HttpRequest
from rest_framework.request import Request

from registry.api.paging import KeysetPagination


@dataclass(frozen=True, slots=True)
class ListPage:
    """Rows of one page and the addresses of those beside it, None at the ends."""

    rows: list[Any]
    next: str | None
    previous: str | None


def list_page(
    request: HttpRequest, rows: QuerySet[Any], *, page_key: Sequence[str] = ("pk",)
) -> ListPage:
    """The page that ``cursor`` asks for; rows added meanwhile neither repeat nor hide others.

    Raises
    ------
    FieldsError
        A cursor that this list did not give out.
    """
    paginator = KeysetPagination()
    view: Any = SimpleNamespace(page_key=page_key)
    found = paginator.paginate_queryset(rows, Request(request), view)
    answer = paginator.get_paginated_response([]).data
    return ListPage(found, answer["next"], answer["previous"])
