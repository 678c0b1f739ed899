"""The ``ordering`` parameter of lists."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, NoReturn

from django.db.models import QuerySet
from rest_framework.filters import BaseFilterBackend
from rest_framework.request import Request
from rest_framework.views import APIView

from genetics.errors import listed
from registry.errors import FieldsError, InvalidParameterError, PlacedError

PARAMETER = "ordering"


class StrictOrderingFilter(BaseFilterBackend):
    """Orders by the view's ``ordering_fields``, and refuses any other name.

    ``ordering_fields`` is a list of columns, or a mapping of the name in the interface to the
    column. ``ordering=-season,species`` sorts by season, newest first, then by species. Without
    the parameter the view's ``ordering`` holds (in columns), else the queryset's own.
    """

    def filter_queryset(
        self, request: Request, queryset: QuerySet[Any], view: APIView
    ) -> QuerySet[Any]:
        """Rows in the order asked for."""
        text = request.query_params.get(PARAMETER)
        columns = ordering_columns(view)
        if text is None:
            default: Sequence[str] = getattr(view, "ordering", ())
            return queryset.order_by(*default) if default else queryset
        return queryset.order_by(*read_ordering(text, columns))

    def get_schema_operation_parameters(self, view: APIView) -> list[dict[str, Any]]:
        """The parameter as OpenAPI has it."""
        names = allowed_orderings(ordering_columns(view))
        if not names:
            return []
        return [
            {
                "name": PARAMETER,
                "in": "query",
                "required": False,
                "description": "Names to sort by, most important first; '-' before one turns it.",
                "style": "form",
                "explode": False,
                "schema": {
                    "type": "array",
                    "items": {"type": "string", "enum": names},
                    "minItems": 1,
                },
            }
        ]


def ordering_columns(view: APIView) -> Mapping[str, str]:
    """Name in the interface -> column, for a view."""
    fields: Mapping[str, str] | Sequence[str] = getattr(view, "ordering_fields", ())
    return fields if isinstance(fields, Mapping) else {name: name for name in fields}


def allowed_orderings(columns: Mapping[str, str]) -> list[str]:
    """Every name, upwards and downwards."""
    return [sign + name for name in columns for sign in ("", "-")]


def read_ordering(text: str, columns: Mapping[str, str]) -> list[str]:
    """Columns of an ``ordering`` text; raises `FieldsError` for other or repeated names."""
    terms = [term.strip() for term in text.split(",")]
    names = [term.removeprefix("-") for term in terms]
    for term, name in zip(terms, names, strict=True):
        if name not in columns:
            _refuse(f"Read {term!r}", columns)
        if names.count(name) > 1:
            _refuse(f"Read {name!r} more than once", columns)
    return [
        ("-" if term.startswith("-") else "") + columns[name]
        for term, name in zip(terms, names, strict=True)
    ]


def _refuse(read: str, columns: Mapping[str, str]) -> NoReturn:
    allowed = allowed_orderings(columns)
    error = InvalidParameterError(
        f"{read}, expected each at most once of {listed(allowed)}.", allowed=allowed
    )
    raise FieldsError([PlacedError(error, parameter=PARAMETER)])
