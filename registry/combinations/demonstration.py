"""The invented community of ``broodcount demo``, reported as keepers report."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from contextlib import suppress
from datetime import UTC, datetime, timedelta
from random import Random
from typing import Any, Final
from uuid import UUID

from django.db import transaction
from django.utils import timezone

from registry.catalogue.selectors import names_elsewhere, species_loaded
from registry.clutches.models import Clutch, LikelyDuplicate, Revision
from registry.clutches.selectors import clutch_answer, clutch_list
from registry.clutches.services.reporting import clutch_report
from registry.clutches.services.revising import clutch_revise
from registry.combinations.bridge.community import (
    DEMO_SPECIES,
    MISTAKEN,
    N_SEASONS,
    community_clutches,
)
from registry.keepers.models import Keeper
from registry.keepers.services import keeper_join
from registry.pairings.models import Pairing
from registry.pairings.services import pairing_declare

_DECLARED_ONE_IN: Final = 4
_SILENT_ONE_IN: Final = 40
"""One clutch in so many is declared before it hatches; to one in so many a silent pairing comes."""
_UNSURE_ONE_IN: Final = 15
_SURE_LATER_ONE_IN: Final = 3
"""Of the clutches with an uncertain call, one in so many is looked at again after two sheds."""
_LOOKED_AGAIN: Final = 1
"""Keepers who see after two sheds that they took a look-alike for the other look."""
_REPORTED_FROM: Final = (8, 15)
"""Month and day of a season from which on its clutches are reported."""
_REPORTED_WITHIN: Final = timedelta(days=100)
_TWO_SHEDS: Final = timedelta(days=30)
_MOST_COPIED: Final = 8
"""Reports that are tried for one that nobody could take for another clutch when it comes twice."""


def community_report(*, n_keepers: int, n_clutches: int, seed: int) -> None:
    """Join the keepers and report their clutches, all or nothing; times are invented as well.

    Some are declared, some unsure, some looked at again, one comes from two keepers. The same seed
    gives the same community up to the present year, whatever else the database holds.
    """
    loaded = species_loaded(DEMO_SPECIES)
    last_season = timezone.now().year - 1
    bodies = list(
        community_clutches(
            loaded,
            names_elsewhere(DEMO_SPECIES),
            n_keepers=n_keepers,
            n_clutches=n_clutches,
            seed=seed,
            last_season=last_season,
        )
    )
    bodies.sort(key=lambda one: one[1]["season"])
    random = Random(seed)  # noqa: S311 - a simulation, no secret
    with transaction.atomic():
        keepers = [keeper_join().keeper for _number in range(n_keepers)]
        # Invented keepers are no newcomers: the board shall show what a grown registry shows.
        joined = datetime(last_season + 1 - N_SEASONS, 1, 1, 12, tzinfo=UTC)
        Keeper.objects.filter(pk__in=[one.pk for one in keepers]).update(joined_at=joined)
        for place, (number, body) in enumerate(bodies):
            _reported(keepers[number], body, place=place, of=len(bodies), random=random)
        _look_again(keepers)
        _reported_twice(keepers, bodies)


def _reported(
    keeper: Keeper, body: Mapping[str, Any], *, place: int, of: int, random: Random
) -> None:
    """Report a clutch as the place that it has among all has it, at an invented time."""
    given = dict(body)
    n_unsure, is_sure = divmod(place + 1, _UNSURE_ONE_IN)
    if place % _SILENT_ONE_IN == _SILENT_ONE_IN - 1:
        _declared(keeper, body)
    if not is_sure:
        given["hatchlings"] = list(_unsure(body["hatchlings"], random))
    if place % _DECLARED_ONE_IN == 0:
        given["pairing"] = _declared(keeper, body).pk
        del given["sire"], given["dam"]
    clutch_id = clutch_report(keeper, given).clutch_id
    reported_at = datetime(body["season"], *_REPORTED_FROM, 12, tzinfo=UTC)
    _came(clutch_id, reported_at + place / of * _REPORTED_WITHIN)
    was_unsure = not is_sure and given["hatchlings"] != body["hatchlings"]
    if was_unsure and n_unsure % _SURE_LATER_ONE_IN == 0:
        _revised(keeper, clutch_id, body["hatchlings"])


def _came(clutch_id: UUID, reported_at: datetime) -> None:
    Clutch.objects.filter(pk=clutch_id).update(reported_at=reported_at)
    Revision.objects.filter(clutch=clutch_id).update(made_at=reported_at)
    LikelyDuplicate.objects.filter(later=clutch_id).update(found_at=reported_at)


def _revised(keeper: Keeper, clutch_id: UUID, hatchlings: Sequence[Mapping[str, Any]]) -> None:
    """The calls after the second shed."""
    given = {
        "hatchlings": [dict(one) for one in hatchlings],
        "sheds": 2,
        "basis": "the eyes after the second shed",
    }
    clutch_revise(keeper, clutch_id, given)
    former, last = list(Revision.objects.filter(clutch=clutch_id).order_by("number"))[-2:]
    Revision.objects.filter(pk=last.pk).update(made_at=former.made_at + _TWO_SHEDS)


def _reported_twice(
    keepers: Sequence[Keeper], bodies: Sequence[tuple[int, Mapping[str, Any]]]
) -> None:
    """The owner of a dam reports a clutch that the owner of the sire reported: a likely duplicate.

    It has to be a clutch of many looks; one that might be another clutch is not kept.
    """
    if len(keepers) == 1:
        return
    of_many = sorted(bodies, key=lambda one: _n_told(one[1]["hatchlings"]), reverse=True)
    for number, body in of_many[:_MOST_COPIED]:
        own = {role: {"genes": body[role]["genes"]} for role in ("sire", "dam")}
        with suppress(_NoCopyError), transaction.atomic():
            report = clutch_report(keepers[(number + 1) % len(keepers)], {**body, **own})
            if report.held is None:
                raise _NoCopyError
            _came(report.clutch_id, datetime(body["season"], 12, 20, 12, tzinfo=UTC))
            return


class _NoCopyError(Exception):
    """A second report that the registry takes for another clutch."""


def _n_told(groups: Sequence[Mapping[str, Any]]) -> tuple[int, int]:
    """How much the calls of a clutch tell it from others: looks, then hatchlings."""
    return len(groups), sum(one["count"] for one in groups)


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
    _revised(keeper, clutch.pk, [one for one in hatchlings if one["count"]])
    return True
