"""Rules of a clutch that span fields: sums and sizes."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from registry.clutches.choices import MAX_HATCHLINGS
from registry.errors import (
    CountsDoNotAddUpError,
    EmptyClutchError,
    Gathering,
    TooManyHatchlingsError,
    gathered,
)
from registry.wording import counted


def clutch_counts_checked(given: Mapping[str, Any], *, limit: int = MAX_HATCHLINGS) -> None:
    """Refuse counts that can not be of one clutch; every fault at once.

    Raises
    ------
    FieldsError
        With ``EmptyClutchError``, ``TooManyHatchlingsError`` or ``CountsDoNotAddUpError``.
    """
    hatched = sum(entry["count"] for entry in given["hatchlings"])
    eggs = given.get("eggs") or {}
    with gathered() as faults:
        with faults.at("hatchlings"):
            _size_checked(hatched, "hatchlings", limit)
        _eggs_checked(faults, eggs, hatched, limit)
        for number, entry in enumerate(given["hatchlings"]):
            with faults.at("hatchlings", number, "weights"):
                _weights_checked(entry)
    if not hatched and not any(eggs.values()):
        raise EmptyClutchError(
            "The clutch has neither hatchlings nor eggs. A clutch in which nothing hatched is "
            "welcome: give the eggs laid, those that never developed or those that died."
        )


def _size_checked(count: int, what: str, limit: int) -> None:
    if count > limit:
        raise TooManyHatchlingsError(
            f"{count} {what} are more than the {limit} that one clutch can have; report each "
            "clutch by itself.",
            count=count,
            limit=limit,
        )


def _eggs_checked(
    faults: Gathering, eggs: Mapping[str, int | None], hatched: int, limit: int
) -> None:
    laid = eggs.get("laid")
    infertile, died = eggs.get("infertile") or 0, eggs.get("died") or 0
    with faults.at("eggs"):
        _size_checked(max(laid or 0, infertile, died), "eggs", limit)
    if laid is not None and laid < infertile + died + hatched:
        with faults.at("eggs", "laid"):
            raise CountsDoNotAddUpError(
                f"{counted(laid, 'egg')} laid, but {infertile} never developed, {died} died and "
                f"{hatched} hatched make {infertile + died + hatched}.",
                laid=laid,
                infertile=infertile,
                died=died,
                hatched=hatched,
            )


def _weights_checked(entry: Mapping[str, Any]) -> None:
    weights = entry.get("weights")
    n_readings = 1 + len(entry.get("or", ()))
    if weights is not None and len(weights) != n_readings:
        raise CountsDoNotAddUpError(
            f"{counted(len(weights), 'weight')} for {counted(n_readings, 'reading')}: give one "
            "for the call and one for each of 'or', in this order, or none at all.",
            weights=len(weights),
            readings=n_readings,
        )
    if weights is not None and not all(weights):
        raise CountsDoNotAddUpError(
            "A weight of 0 says that the reading is not meant: leave the reading out instead."
        )
