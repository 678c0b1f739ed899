"""Forecasts: nothing is stored, nothing but the catalogue is read."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from registry.catalogue.bridge import CARE
from registry.catalogue.selectors import names_elsewhere, species_loaded
from registry.errors import at, gathered
from registry.forecasts.bridge import (
    Forecast,
    WantedAnswer,
    forecast_of,
    wanted_answer,
    wanted_read,
)
from registry.forecasts.choices import DEFAULT_LOOKS
from registry.pairings.bridge.parents import pairing_of, parent_read, parent_text


def forecast_answer(given: Mapping[str, Any]) -> dict[str, Any]:
    """Looks, wanted combinations and cautions of a pairing.

    Raises
    ------
    FieldsError
        Everything that can be refused, each with its place.
    """
    with at("species"):
        loaded = species_loaded(given["species"])
    others = names_elsewhere(loaded.key)
    wanted = []
    with gathered() as faults:
        with faults.at("sire"):
            sire = parent_read(loaded, "sire", given["sire"], others)
        with faults.at("dam"):
            dam = parent_read(loaded, "dam", given["dam"], others)
        for number, text in enumerate(given.get("wanted", ())):
            with faults.at("wanted", number):
                wanted.append((text, *wanted_read(loaded, text, others)))
    pairing = pairing_of(loaded, sire, dam)
    size = given.get("clutch_size")
    forecast = forecast_of(loaded, pairing, most_looks=given.get("most_looks") or DEFAULT_LOOKS)
    return {
        "species": loaded.key,
        "sire": {"genes": parent_text(loaded, sire), "unproven": list(sire.unproven)},
        "dam": {"genes": parent_text(loaded, dam), "unproven": list(dam.unproven)},
        "clutch_size": size,
        **_looks(forecast),
        "wanted": [
            {"genes": genes} | _wanted(wanted_answer(loaded, pairing, text, one, clutch_size=size))
            for genes, text, one in wanted
        ],
        "cautions": [
            {
                "about": caution.about,
                "text": caution.text,
                "source": caution.source,
                "chance": float(chance),
                "fraction": str(chance),
            }
            for caution, chance in forecast.cautions
        ],
        "advice": CARE if forecast.cautions else None,
        "method": {
            "catalogue": loaded.label,
            "unproven": "taken as stated",
            "uncertain_parents": "mixed over the whole clutch, which shares its parents",
        },
    }


def _looks(forecast: Forecast) -> dict[str, Any]:
    return {
        "looks": [
            {
                "look": one.text,
                "sex": one.look.sex,
                "chance": float(one.look.chance),
                "fraction": str(one.look.chance),
                "hidden": [
                    {
                        "text": hidden.text,
                        "genes": list(hidden.genes),
                        "kind": hidden.kind,
                        "chance": float(hidden.chance),
                        "fraction": str(hidden.chance),
                    }
                    for hidden in one.look.hidden
                ],
            }
            for one in forecast.looks
        ],
        "looks_total": forecast.n_looks,
        "chance_listed": float(forecast.chance_listed),
    }


def _wanted(one: WantedAnswer) -> dict[str, Any]:
    return {
        "combination": one.text,
        "chance": float(one.chance),
        "fraction": str(one.chance),
        "at_least_one": None if one.at_least_one is None else float(one.at_least_one),
        "most_ever": float(one.ever),
        "cautions": [
            {"about": caution.about, "text": caution.text, "source": caution.source}
            for caution in one.cautions
        ],
        "hatchlings_for": {str(level): n for level, n in one.hatchlings_for.items()},
    }
