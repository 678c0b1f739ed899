"""Query parameters read strictly: unknown ones and repeated ones are errors, never ignored."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, ClassVar, Final

from django.db.models import IntegerField, Model, QuerySet
from django_filters import filters
from django_filters.rest_framework import DjangoFilterBackend, FilterSet
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.views import APIView

from genetics.errors import listed
from registry.api.faults import parameter_faults
from registry.api.fields import SOME_ID, is_id
from registry.api.nearest import nearest_names
from registry.errors import (
    FieldsError,
    InvalidParameterError,
    PlacedError,
    UnknownParameterError,
)

_READING: Final = frozenset({"GET", "HEAD"})


class KnownParametersMixin:
    """View that refuses parameters it does not know, and single ones given twice.

    Known are: those named in ``known_parameters``, the filters of ``filterset_class``,
    ``ordering`` if there are ``ordering_fields``, and those of the paginator. They are known to
    GET and HEAD only; other methods know ``known_write_parameters``.
    """

    known_parameters: ClassVar[Sequence[str]] = ()
    known_write_parameters: ClassVar[Sequence[str]] = ()
    repeatable_parameters: ClassVar[Sequence[str]] = ()

    def initial(self, request: Request, *args: Any, **kwargs: Any) -> None:
        """Check the parameters, then what REST framework checks."""
        self._check_parameters(request)
        super().initial(request, *args, **kwargs)  # type: ignore[misc]

    def _check_parameters(self, request: Request) -> None:
        known, repeatable = self.parameters_of(request.method or "GET")
        wrong: list[PlacedError] = []
        for name, texts in request.query_params.lists():
            if name not in known:
                near = nearest_names(name, known)
                unknown = UnknownParameterError(name=name, known=known, suggestions=near)
                wrong.append(PlacedError(unknown, parameter=name))
            elif len(texts) > 1 and name not in repeatable:
                twice = InvalidParameterError(
                    f"The parameter is given {len(texts)} times, expected once."
                )
                wrong.append(PlacedError(twice, parameter=name))
        if wrong:
            raise FieldsError(wrong)

    def parameters_of(self, method: str) -> tuple[list[str], set[str]]:
        """Names that the method knows, sorted, and those of them that may be repeated."""
        if method not in _READING:
            return sorted(self.known_write_parameters), set(self.repeatable_parameters)
        known, repeatable = set(self.known_parameters), set(self.repeatable_parameters)
        if not getattr(self, "detail", False):
            names, many = self._list_parameters()
            known |= names
            repeatable |= many
        return sorted(known), repeatable

    def _list_parameters(self) -> tuple[set[str], set[str]]:
        known, repeatable = _filter_parameters(getattr(self, "filterset_class", None))
        if getattr(self, "ordering_fields", None):
            known.add("ordering")
        paginator = getattr(self, "pagination_class", None)
        known.update(getattr(paginator, "parameters", ()))
        return known, repeatable


def _filter_parameters(filterset_class: type[FilterSet] | None) -> tuple[set[str], set[str]]:
    """Names in the query of a filterset, and those that may be repeated.

    Range filters have one name per end; the widget knows them.
    """
    if filterset_class is None:
        return set(), set()
    known: set[str] = set()
    repeatable: set[str] = set()
    for name, one in filterset_class.base_filters.items():
        suffixes = getattr(one.field.widget, "suffixes", None)
        if suffixes:
            known.update(f"{name}_{suffix}" if suffix else name for suffix in suffixes)
        else:
            known.add(name)
        if isinstance(one, filters.MultipleChoiceFilter):
            repeatable.add(name)
    return known, repeatable


class StrictFilterBackend(DjangoFilterBackend):
    """django-filter with its faults told as faults of parameters."""

    def filter_queryset(self, request: Any, queryset: QuerySet[Any], view: APIView) -> Any:
        """Filtered rows; raises `FieldsError` with one entry per refused value."""
        filterset_class = getattr(view, "filterset_class", None)
        if misread := _misread_texts(filterset_class, queryset.model, request):
            raise FieldsError(misread)
        try:
            return super().filter_queryset(request, queryset, view)
        except serializers.ValidationError as error:
            raise FieldsError(
                [
                    PlacedError(
                        InvalidParameterError(fault.detail, **fault.extras),
                        parameter=fault.parameter,
                    )
                    for fault in parameter_faults(error.detail)
                ]
            ) from error


def _misread_texts(
    filterset_class: type[FilterSet] | None, model: type[Model], request: Request
) -> list[PlacedError]:
    """Texts that the filters would take for not given, or round to a whole number."""
    wrong: list[PlacedError] = []
    for name, one in filterset_class.base_filters.items() if filterset_class else ():
        for text in request.query_params.getlist(name):
            error = _misreading(model, one, text)
            if error is not None:
                wrong.append(PlacedError(error, parameter=name))
    return wrong


def _misreading(model: type[Model], one: filters.Filter, text: str) -> InvalidParameterError | None:
    """The refusal of a text that a filter can not read, or would read as something else."""
    names = _names_of(one)
    if names is not None and text.strip():
        return None if text in names else not_a_name(text, names)
    expected = _expectation(model, one, text.strip())
    return InvalidParameterError(f"Read {text!r}, expected {expected}.") if expected else None


def not_a_name(text: str, names: Sequence[str]) -> InvalidParameterError:
    """The refusal of a text that is none of the names that can be, with the nearest of them."""
    near = nearest_names(text, names)
    hint = f" Did you mean {listed(near)}?" if near else ""
    return InvalidParameterError(
        f"Read {text!r}, expected {listed(list(names))}.{hint}",
        allowed=list(names),
        suggestions=near,
    )


def _names_of(one: filters.Filter) -> list[str] | None:
    """Every value that a filter by a fixed list knows; None for another filter."""
    is_fixed = isinstance(one, filters.ChoiceFilter | filters.MultipleChoiceFilter)
    if not is_fixed or isinstance(one, filters.QuerySetRequestMixin):
        return None
    return [str(value) for value, _label in one.extra["choices"]]


def _expectation(model: type[Model], one: filters.Filter, text: str) -> str | None:
    """What would be right instead of the text; None if the filter reads it by itself."""
    if not text:
        return "a value; leave the parameter out for none"
    if isinstance(one, filters.BooleanFilter):
        return None if text in {"true", "false"} else "true or false"
    if isinstance(one, filters.UUIDFilter):
        return None if is_id(text) else f"an id such as {SOME_ID}"
    if isinstance(one, filters.NumberFilter):
        column = model._meta.get_field(str(one.field_name))  # noqa: SLF001 - Django's documented _meta API
        digits = text.removeprefix("-")
        if isinstance(column, IntegerField) and not (digits.isascii() and digits.isdigit()):
            return "a whole number"
    return None


def parameter_number(request: Request, name: str, *, low: int, high: int, default: int) -> int:
    """Whole number of a query parameter, from ``low`` to ``high``; ``default`` if not given."""
    text = request.query_params.get(name)
    if text is None:
        return default
    # isascii: int() would read digits of other scripts as well.
    if text.isascii() and text.isdigit() and len(text) <= len(str(high)):
        number = int(text)
        if low <= number <= high:
            return number
    error = InvalidParameterError(f"Read {text!r}, expected a whole number from {low} to {high}.")
    raise FieldsError([PlacedError(error, parameter=name)])


def parameter_name(request: Request, name: str, allowed: Sequence[str], *, default: str) -> str:
    """One of the allowed names from a query parameter; ``default`` if not given."""
    text = request.query_params.get(name, default)
    if text in allowed:
        return text
    raise FieldsError([PlacedError(not_a_name(text, allowed), parameter=name)])
