"""Reads of a keeper's own record, and of the ledger of erasures."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, Final

from django.db.models import Count, Model, OuterRef, QuerySet, Subquery
from django.db.models.functions import Coalesce

from registry.clutches.models import Clutch
from registry.errors import UnknownTokenError
from registry.keepers.models import Erasure, Keeper, KeeperToken
from registry.pairings.models import Animal, Pairing
from registry.records.ledger import Entry

COUNTED: Final[dict[str, type[Model]]] = {
    "clutches": Clutch,
    "pairings": Pairing,
    "animals": Animal,
    "tokens": KeeperToken,
}
"""What a record counts: tables with a keeper of their own."""
_BATCH: Final = 2_000


def keeper_record(keeper: Keeper) -> dict[str, Any]:
    """A keeper's own record, in one statement."""
    counts = {f"n_{name}": _count_of(model) for name, model in COUNTED.items()}
    found = (
        Keeper.objects.filter(pk=keeper.pk).annotate(**counts).values("joined_at", *counts).first()
    )
    if found is None:
        raise UnknownTokenError("The token belongs to no keeper.")
    return {
        "keeper": keeper.pk,
        "joined_on": found["joined_at"].date(),
        **{name: found[f"n_{name}"] for name in COUNTED},
    }


def _count_of(model: type[Model]) -> Coalesce:
    own: QuerySet[Any, Any] = model._default_manager.filter(keeper=OuterRef("pk"))  # noqa: SLF001 - Django's documented API
    counted = own.order_by().values("keeper").annotate(n=Count("pk")).values("n")
    return Coalesce(Subquery(counted), 0)


def erasure_entries() -> Iterator[Entry]:
    """The ledger as the database has it, oldest first."""
    rows = Erasure.objects.values_list("sha256", "erased_on")
    for sha256, erased_on in rows.iterator(chunk_size=_BATCH):
        yield Entry(sha256, erased_on)
