"""The invented community of ``broodcount demo``, reported as keepers report."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from datetime import UTC, datetime, timedelta
from random import Random
from typing import Any, Final

from django.utils import timezone

from registry.catalogue.selectors import names_elsewhere, species_loaded
from registry.clutches.models import Clutch
from registry.clutches.selectors import clutch_answer, clutch_list
from registry.clutches.services.reporting import clutch_report
from registry.clutches.services.revising import clutch_revise
from registry.combinations.bridge.community import DEMO_SPECIES, MISTAKEN, community_clutches
from registry.keepers.models import Keeper
from registry.keepers.services import keeper_join
from registry.pairings.models import Pairing
from registry.pairings.services import pairing_declare

_DECLARED_ONE_IN: Final = 4
_SILENT_ONE_IN: Final = 40
"""One clutch in so many is declared before it hatches; to one in so many a silent pairing comes."""
_UNSURE_ONE_IN: Final = 15
_LOOKED_AGAIN: Final = 1
"""Keepers who look at a look-alike again after two sheds."""
_AGE_DAYS: Final = 400
"""Invented keepers are no newcomers: the board shall show what a grown registry shows."""


def community_report(*, n_keepers: int, n_clutches: int, seed: int) -> None:
    """Join the keepers and report their clutches; some declared, some unsure, some looked at again.

    The same seed gives the same community, whatever else the database holds.
    """
    loaded = species_loaded(DEMO_SPECIES)
    keepers = [keeper_join().keeper for _number in range(n_keepers)]
    long_ago = timezone.now() - timedelta(days=_AGE_DAYS)
    Keeper.objects.filter(pk__in=[one.pk for one in keepers]).update(joined_at=long_ago)
    bodies = community_clutches(
        loaded, names_elsewhere(DEMO_SPECIES), n_keepers=n_keepers, n_clutches=n_clutches, seed=seed
    )
    random = Random(seed)  # noqa: S311 - a simulation, no secret
    for place, (number, body) in enumerate(bodies):
        keeper = keepers[number]
        if place % _SILENT_ONE_IN == _SILENT_ONE_IN - 1:
            _declared(keeper, body)
        if place % _UNSURE_ONE_IN == _UNSURE_ONE_IN - 1:
            body = body | {"hatchlings": list(_unsure(body["hatchlings"], random))}  # noqa: PLW2901
        if place % _DECLARED_ONE_IN == 0:
            parents = {role: body[role] for role in ("sire", "dam")}
            declared = _declared(keeper, body | parents)
            body = {name: one for name, one in body.items() if name not in parents}  # noqa: PLW2901
            body["pairing"] = declared.pk
        clutch_report(keeper, body)
    _look_again(keepers)


def _declared(keeper: Keeper, body: Mapping[str, Any]) -> Pairing:
    """A pairing declared at the beginning of its season; the time is invented like all the rest."""
    given = {name: body[name] for name in ("species", "season", "sire", "dam")}
    pairing = pairing_declare(keeper, given)
    pairing.declared_at = datetime(body["season"], 1, 15, 12, tzinfo=UTC)
    pairing.save(update_fields=["declared_at"])
    return pairing


def _unsure(groups: Sequence[Mapping[str, Any]], random: Random) -> Iterator[dict[str, Any]]:
    """One hatchling of the first look may also be of another look of the clutch."""
    others = [one["call"] for one in groups[1:]]
    for place, one in enumerate(groups):
        if place or not others:
            yield dict(one)
            continue
        if one["count"] > 1:
            yield {**one, "count": one["count"] - 1}
        yield {"call": one["call"], "count": 1, "or": [random.choice(others)]}


def _look_again(keepers: Sequence[Keeper]) -> None:
    """Some see after two sheds that a hatchling called by one gene shows both."""
    shown, called, _chance = MISTAKEN
    n_done = 0
    for keeper in keepers:
        for clutch in clutch_list(keeper).order_by("reported_at"):
            if n_done < _LOOKED_AGAIN and _looked_again(keeper, clutch, sorted(shown), called):
                n_done += 1
                break


def _looked_again(keeper: Keeper, clutch: Clutch, shown: Sequence[str], called: str) -> bool:
    """Whether the clutch has such a hatchling, which is called by both genes from now on."""
    answer = clutch_answer(clutch)
    could_be = all(any(gene in answer[role]["genes"] for role in ("sire", "dam")) for gene in shown)
    mistaken = [one for one in answer["hatchlings"] if one["reading"] == called]
    if not could_be or not mistaken or mistaken[0]["or"]:
        return False
    hatchlings = [
        {"call": one["call"], "count": one["count"] - (one is mistaken[0])}
        | ({"or": [other["reading"] for other in one["or"]]} if one["or"] else {})
        for one in answer["hatchlings"]
    ]
    hatchlings.append({"call": " ".join(shown), "count": 1, "was": called})
    given = {
        "hatchlings": [one for one in hatchlings if one["count"]],
        "sheds": 2,
        "basis": "the eyes after the second shed",
    }
    clutch_revise(keeper, clutch.pk, given)
    return True
