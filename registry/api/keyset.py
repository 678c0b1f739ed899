"""Where a page of an ordered list begins: after a row, known by its key.

The key of a row is its values in the ordering columns and in what makes it unique (``pk``). "After
a row" is then a condition, not a number of rows to skip: rows that share values are never lost or
repeated, however many they are, and a later page costs what the first one does.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from functools import reduce
from operator import or_
from typing import Any, Final
from uuid import UUID

from django.core.exceptions import FieldDoesNotExist, ImproperlyConfigured
from django.db.models import F, Model, Q, QuerySet
from django.db.models.expressions import OrderBy

# Columns with which a row's key travels along; taken off again before rows are given out.
_ALIAS: Final = "page_key_{}"

Key = tuple[Any, ...]


@dataclass(frozen=True, slots=True)
class OrderColumn:
    """One column of the order. Rows without a value come last, in both directions."""

    name: str
    descending: bool
    nullable: bool

    @property
    def term(self) -> str:
        """As in ``order_by``."""
        return ("-" if self.descending else "") + self.name

    def order(self, *, backwards: bool) -> OrderBy:
        """Expression to sort by; says where nulls go only where there can be some.

        PostgreSQL uses a plain index for a column without that clause.
        """
        descending = self.descending is not backwards
        column = F(self.name)
        if not self.nullable:
            return column.desc() if descending else column.asc()
        if backwards:
            return column.desc(nulls_first=True) if descending else column.asc(nulls_first=True)
        return column.desc(nulls_last=True) if descending else column.asc(nulls_last=True)

    def same(self, value: Any) -> Q:
        """Rows with this value."""
        return Q(**{f"{self.name}__isnull": True}) if value is None else Q(**{self.name: value})

    def beyond(self, value: Any, *, backwards: bool) -> Q | None:
        """Rows behind this value (before it, backwards); None if there can be none."""
        if value is None:
            return Q(**{f"{self.name}__isnull": False}) if backwards else None
        comparison = "lt" if self.descending is not backwards else "gt"
        rest = Q(**{f"{self.name}__{comparison}": value})
        if self.nullable and not backwards:
            rest |= Q(**{f"{self.name}__isnull": True})
        return rest


def order_columns(queryset: QuerySet[Any], unique: Sequence[str]) -> tuple[OrderColumn, ...]:
    """Columns that the queryset is ordered by, made unique by appending ``unique``.

    Raises `ImproperlyConfigured` for an order by an expression: annotate it and order by its name.
    """
    terms = list(queryset.query.order_by or queryset.model._meta.ordering or ())  # noqa: SLF001
    if not all(isinstance(term, str) and term != "?" for term in terms):
        raise ImproperlyConfigured("pages need an order by names of columns or annotations")
    names = {_plain(term) for term in terms}
    terms.extend(name for name in unique if name not in names)
    return tuple(
        OrderColumn(
            name=_plain(term),
            descending=term.startswith("-"),
            nullable=_nullable(queryset, _plain(term)),
        )
        for term in terms
    )


def _plain(term: str) -> str:
    return term.lstrip("-+")


def _nullable(queryset: QuerySet[Any], name: str) -> bool:
    """Whether the column can be null; what is not known for sure can."""
    if name == "pk":
        return False
    if name in queryset.query.annotations:
        return True
    model: type[Model] = queryset.model
    for step in name.split("__"):
        try:
            one = model._meta.get_field(step)  # noqa: SLF001 - Django's documented _meta API
        except FieldDoesNotExist:
            return True
        if getattr(one, "null", True):
            return True
        if isinstance(one.related_model, type):
            model = one.related_model
    return False


def keyed_rows(
    queryset: QuerySet[Any],
    columns: Sequence[OrderColumn],
    *,
    after: Key | None,
    backwards: bool,
    limit: int,
) -> list[Any]:
    """At most ``limit`` rows behind ``after`` in the order, each with its key.

    Backwards they are the nearest ones before it, nearest first.
    """
    rows = queryset.order_by(*(column.order(backwards=backwards) for column in columns))
    if after is not None:
        beyond = _beyond_key(columns, after, backwards=backwards)
        rows = rows.none() if beyond is None else rows.filter(beyond)
    keys = {_ALIAS.format(i): F(column.name) for i, column in enumerate(columns)}
    return list(rows.annotate(**keys)[:limit])


def _beyond_key(columns: Sequence[OrderColumn], key: Key, *, backwards: bool) -> Q | None:
    """Rows behind the key: equal in the first columns, behind it in the next; None for none."""
    ways: list[Q] = []
    equal = Q()
    for column, value in zip(columns, key, strict=True):
        beyond = column.beyond(value, backwards=backwards)
        if beyond is not None:
            ways.append(equal & beyond)
        equal &= column.same(value)
    if not ways:
        return None
    condition = reduce(or_, ways)
    first, value = columns[0], key[0]
    if not first.nullable:
        # Says nothing new, but it is a bound that an index can be entered with.
        comparison = "lte" if first.descending is not backwards else "gte"
        condition &= Q(**{f"{first.name}__{comparison}": value})
    return condition


def take_key(row: Any, columns: Sequence[OrderColumn]) -> Key:
    """The key that travelled with a row, taken off if the row is a dict."""
    aliases = [_ALIAS.format(index) for index in range(len(columns))]
    if isinstance(row, dict):
        return tuple(row.pop(alias) for alias in aliases)
    return tuple(getattr(row, alias) for alias in aliases)


# --- keys as JSON -----------------------------------------------------------------------------

_READERS: Final[dict[str, Any]] = {
    "datetime": datetime.fromisoformat,
    "date": date.fromisoformat,
    "decimal": Decimal,
    "uuid": UUID,
    "float": float,
}


def packed_value(value: Any) -> Any:
    """Value of a key as JSON, exactly: ``[kind, text]`` for what JSON has no type for."""
    if value is None or isinstance(value, (bool, int, str)):
        return value
    if isinstance(value, datetime):  # before date, whose child it is
        return ["datetime", value.isoformat()]
    if isinstance(value, date):
        return ["date", value.isoformat()]
    for kind, type_ in (("decimal", Decimal), ("uuid", UUID), ("float", float)):
        if isinstance(value, type_):
            return [kind, str(value)]
    raise ImproperlyConfigured(f"pages can not be ordered by a {type(value).__name__}")


def unpacked_value(packed: Any) -> Any:
    """Value of a key from its JSON; raises ValueError for what `packed_value` never gives."""
    if packed is None or isinstance(packed, (bool, int, str)):
        return packed
    if isinstance(packed, list) and len(packed) == 2 and packed[0] in _READERS:  # noqa: PLR2004 - name and value
        return _READERS[packed[0]](packed[1])
    raise ValueError("no value of a key")
