"""Every table that holds rows of a keeper, found from the models.

Whoever adds a table with a foreign key that leads to a keeper, directly or through others, has
nothing to do here: the next erasure removes its rows as well. Only deletion rules that an erasure
could not follow are refused, at the first use and by a test.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from graphlib import TopologicalSorter
from typing import Any, Final

from django.db import connection
from django.db.models import CASCADE, SET_NULL, ForeignKey, Model
from django.db.models.fields.reverse_related import ForeignObjectRel

from registry.keepers.models import Keeper

_KEEPER_ROW: Final = "SELECT %(keeper)s::uuid"
_Ways = dict[type[Model], list[ForeignKey[Any, Any]]]


@dataclass(frozen=True, slots=True)
class Removal:
    """One statement of an erasure; it takes the keeper's id as ``keeper``.

    ``label`` names the table, as ``app.Model``; ``deletes`` is False where rows of others only
    forget what leaves.
    """

    label: str
    sql: str
    deletes: bool


@cache
def removals() -> tuple[Removal, ...]:
    """The statements that remove a keeper: one per table, what refers to a row before the row.

    Raises
    ------
    TypeError
        A foreign key that leads to a keeper and neither follows nor forgets (``CASCADE``,
        ``SET_NULL``): the erasure would fail or leave rows behind.
    """
    follow, forget = _ways()
    order = TopologicalSorter(
        {model: {one.related_model for one in follow[model]} for model in follow}
    )
    return (
        *(
            Removal(
                label=label_of(one.model),
                sql=f"UPDATE {_table(one.model)} SET {_name(one.column)} = NULL "  # noqa: S608 - names of our own models
                f"WHERE {_name(one.column)} IN ({_rows(one.related_model, follow)})"
                f"{_but_leaving(one.model, follow)}",
                deletes=False,
            )
            for one in forget
        ),
        *(
            Removal(
                label=label_of(model),
                sql=f"DELETE FROM {_table(model)} "  # noqa: S608 - names of our own models
                # A list of keys, not a join: whatever is known of the table, it is made once.
                f"WHERE {_key(model)} = ANY(ARRAY({_rows(model, follow)}))",
                deletes=True,
            )
            for model in reversed(list(order.static_order()))
        ),
    )


def _ways() -> tuple[_Ways, list[ForeignKey[Any, Any]]]:
    """Per table the foreign keys by which its rows leave, and those that are only emptied."""
    follow: _Ways = {Keeper: []}
    forget: list[ForeignKey[Any, Any]] = []
    waiting: list[type[Model]] = [Keeper]
    while waiting:
        for field in _referring(waiting.pop()):
            if not _follows(field):
                forget.append(field)
                continue
            if field.model not in follow:
                follow[field.model] = []
                waiting.append(field.model)
            follow[field.model].append(field)
    return follow, forget


def _referring(parent: type[Model]) -> Iterator[ForeignKey[Any, Any]]:
    """Foreign keys to a table; of one within the table, the rows leave together anyway."""
    for relation in parent._meta.get_fields(include_hidden=True):  # noqa: SLF001 - as documented
        if isinstance(relation, ForeignObjectRel) and relation.related_model is not parent:
            field = relation.field
            if isinstance(field, ForeignKey):
                yield field


def _follows(field: ForeignKey[Any, Any]) -> bool:
    """Whether rows leave with what they refer to, rather than forget it."""
    rule = field.remote_field.on_delete
    if rule not in {CASCADE, SET_NULL}:
        raise TypeError(
            f"{field} refers to a keeper's rows and neither follows (CASCADE) nor forgets "
            "(SET_NULL) them, so no keeper could be erased."
        )
    return rule is CASCADE


def _rows(model: type[Model], follow: _Ways) -> str:
    """SQL for the primary keys of rows that leave; each way to the keeper by an index."""
    if model is Keeper:
        return _KEEPER_ROW
    return " UNION ".join(
        f"SELECT {_key(model)} FROM {_table(model)} "  # noqa: S608 - names of our own models
        f"WHERE {_name(field.column)} IN ({_rows(field.related_model, follow)})"
        for field in follow[model]
    )


def _but_leaving(model: type[Model], follow: _Ways) -> str:
    """Rows that leave need not forget anything first."""
    return f" AND {_key(model)} NOT IN ({_rows(model, follow)})" if model in follow else ""


def label_of(model: type[Model]) -> str:
    """A table as ``app.Model``."""
    return model._meta.label  # noqa: SLF001 - Django's documented _meta API


def _table(model: type[Model]) -> str:
    return _name(model._meta.db_table)  # noqa: SLF001 - Django's documented _meta API


def _key(model: type[Model]) -> str:
    key = model._meta.pk  # noqa: SLF001 - Django's documented _meta API
    return _name(str(key.column))


def _name(name: str) -> str:
    return connection.ops.quote_name(name)
