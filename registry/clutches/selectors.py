"""Reads of clutches, always those of the keeper who asks."""

from __future__ import annotations

import uuid
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from django.contrib.postgres.expressions import ArraySubquery
from django.db.models import F, OuterRef, QuerySet
from django.db.models.functions import JSONObject

from registry.catalogue.bridge import LoadedSpecies
from registry.catalogue.selectors import version_loaded
from registry.clutches.bridge.reports import (
    PooledClutch,
    ReadClutch,
    ReadGroup,
    family_clutch_of,
)
from registry.clutches.models import Clutch, HatchlingGroup
from registry.errors import NotFoundError
from registry.keepers.models import Keeper
from registry.pairings.bridge import parent_text, statement_from_json


def clutch_list(keeper: Keeper) -> QuerySet[Clutch]:
    """Clutches that a keeper reported, with what an answer needs."""
    return (
        Clutch.objects.filter(keeper=keeper)
        .select_related("version", "sire", "dam")
        .prefetch_related("hatchlings")
    )


def clutch_get(keeper: Keeper, clutch_id: uuid.UUID) -> Clutch:
    """One clutch of a keeper; somebody else's is not found."""
    found = clutch_list(keeper).filter(pk=clutch_id).first()
    if found is None:
        raise clutch_not_found(clutch_id)
    return found


def clutch_not_found(clutch_id: uuid.UUID) -> NotFoundError:
    """The refusal of a clutch that is not the keeper's: the same whether somebody else's exists."""
    return NotFoundError(
        f"You have no clutch {clutch_id}: it was never reported by you, or was withdrawn."
    )


def clutch_answer(clutch: Clutch) -> dict[str, Any]:
    """A stored clutch as its keeper sees it."""
    loaded = version_loaded(clutch.version_id)
    parents = {}
    for role in ("sire", "dam"):
        animal = getattr(clutch, role)
        statement = statement_from_json(loaded.species, getattr(clutch, f"{role}_stated"))
        parents[role] = {
            "genes": parent_text(loaded, statement),
            "animal": animal.label if animal else None,
            "unproven": list(statement.unproven),
        }
    return {
        "id": clutch.pk,
        "species": loaded.key,
        "season": clutch.season,
        **parents,
        "eggs": {
            "laid": clutch.eggs_laid,
            "infertile": clutch.eggs_infertile,
            "died": clutch.eggs_died,
        },
        "hatchlings": [
            _group_answer(one.call, one.count, one.sex, one.basis, one.readings)
            | {"contradicts_parents": one.contradicts_parents}
            for one in clutch.hatchlings.all()
        ],
        "pairing": clutch.pairing_id,
        "declared": clutch.is_declared,
        "clutch_code": clutch.clutch_code or None,
        "reported_at": clutch.reported_at,
        "catalogue": loaded.label,
    }


def _group_answer(
    call: str, count: int, sex: str, basis: str, readings: Sequence[Mapping[str, Any]]
) -> dict[str, Any]:
    first, *others = readings
    return {
        "call": call,
        "count": count,
        "sex": sex,
        "basis": basis or None,
        "reading": first["text"],
        "reason": first["reason"],
        "or": [{"reading": one["text"], "reason": one["reason"]} for one in others],
    }


def report_answer(
    report_id: Mapping[str, Any],
    read: ReadClutch,
    given: Mapping[str, Any],
    labels: Mapping[str, str | None],
) -> dict[str, Any]:
    """A clutch that was just reported, in the form of ``clutch_answer``.

    ``labels`` are the keeper's own of sire and dam, as given or as the pairing was declared.
    """
    parents = {
        role: {
            "genes": parent_text(read.loaded, statement),
            "animal": labels[role],
            "unproven": list(statement.unproven),
        }
        for role, statement in (("sire", read.sire), ("dam", read.dam))
    }
    eggs = given.get("eggs") or {}
    return {
        "species": read.loaded.key,
        **parents,
        "eggs": {name: eggs.get(name) for name in ("laid", "infertile", "died")},
        "hatchlings": [group_answer(one) for one in read.groups],
        "pairing": given.get("pairing"),
        "clutch_code": given.get("clutch_code") or None,
        "catalogue": read.loaded.label,
        **report_id,
    }


def group_answer(group: ReadGroup) -> dict[str, Any]:
    """One entry of hatchlings as it was read."""
    readings = [
        {"text": one.text, "reason": one.reason or one.het_reason} for one in group.readings
    ]
    return _group_answer(group.call, group.count, group.sex, group.basis, readings) | {
        "contradicts_parents": group.contradicts_parents
    }


def informing_clutches(
    families: QuerySet[Any, Any],
) -> Iterator[tuple[LoadedSpecies, uuid.UUID, PooledClutch]]:
    """Clutches of these families in order of arrival, as the pools see them."""
    clutches = with_groups(Clutch.objects.filter(family__in=families))
    for one in clutches.order_by("reported_at", "pk").iterator(chunk_size=500):
        loaded = version_loaded(one.version_id)
        yield loaded, one.family, family_clutch_of(loaded, one, one.group_values)


def with_groups(clutches: QuerySet[Clutch]) -> QuerySet[Clutch, Any]:
    """Clutches with their hatchling groups as ``group_values``, in order of arrival."""
    groups = HatchlingGroup.objects.filter(clutch=OuterRef("pk")).order_by("place")
    values = groups.values(value=JSONObject(count=F("count"), sex=F("sex"), readings=F("readings")))
    return clutches.annotate(group_values=ArraySubquery(values)).order_by("reported_at", "pk")
