"""Reads of clutches, always those of the keeper who asks."""

from __future__ import annotations

import uuid
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from django.contrib.postgres.expressions import ArraySubquery
from django.db.models import F, OuterRef, Q, QuerySet
from django.db.models.functions import JSONObject

from registry.catalogue.bridge import LoadedSpecies
from registry.catalogue.selectors import version_loaded
from registry.clutches.bridge.reports import (
    PooledClutch,
    ReadClutch,
    ReadGroup,
    family_clutch_of,
)
from registry.clutches.bridge.revisions import parents_of_content
from registry.clutches.choices import DRAFT_DAYS, Held, Side, Verdict
from registry.clutches.models import (
    COUNTED,
    Clutch,
    Draft,
    HatchlingGroup,
    LikelyDuplicate,
    Opinion,
    Revision,
)
from registry.errors import NotFoundError
from registry.keepers.models import Keeper
from registry.pairings.bridge.parents import parent_text
from registry.pairings.bridge.stored import statement_from_json


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
        "revision": clutch.revision,
        "held": held_because(is_duplicate=clutch.is_duplicate, is_held=clutch.is_held),
    }


def held_because(*, is_duplicate: bool, is_held: bool) -> str | None:
    """Why a clutch is in no pool; None if it counts."""
    if is_held:
        return str(Held.MODERATOR)
    return str(Held.DUPLICATE) if is_duplicate else None


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
        "revision": 1,
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


def newest_families(families: QuerySet[Any, Any], n_clutches: int) -> list[uuid.UUID]:
    """Those of these families that the newest clutches of all of them belong to."""
    newest = Clutch.objects.filter(COUNTED, family__in=families).order_by("-reported_at", "-pk")
    return list({*newest.values_list("family", flat=True)[:n_clutches]})


def informing_clutches(
    families: QuerySet[Any, Any] | Sequence[uuid.UUID],
) -> Iterator[tuple[LoadedSpecies, uuid.UUID, PooledClutch]]:
    """Clutches of these families in order of arrival, as the pools see them."""
    clutches = with_groups(Clutch.objects.filter(COUNTED, family__in=families))
    for one in clutches.order_by("reported_at", "pk").iterator(chunk_size=500):
        loaded = version_loaded(one.version_id)
        yield loaded, one.family, family_clutch_of(loaded, one, one.group_values)


def with_groups(clutches: QuerySet[Clutch]) -> QuerySet[Clutch, Any]:
    """Clutches with their hatchling groups as ``group_values``, in order of arrival."""
    groups = HatchlingGroup.objects.filter(clutch=OuterRef("pk")).order_by("place")
    values = groups.values(
        value=JSONObject(
            call=F("call"), count=F("count"), sex=F("sex"), basis=F("basis"), readings=F("readings")
        )
    )
    return clutches.annotate(group_values=ArraySubquery(values)).order_by("reported_at", "pk")


def _own_clutch_checked(keeper: Keeper, clutch_id: uuid.UUID) -> None:
    if not Clutch.objects.filter(keeper=keeper, pk=clutch_id).exists():
        raise clutch_not_found(clutch_id)


def revision_list(keeper: Keeper, clutch_id: uuid.UUID) -> QuerySet[Revision]:
    """Every state of a clutch of this keeper.

    Raises
    ------
    NotFoundError
        Not a clutch of this keeper.
    """
    _own_clutch_checked(keeper, clutch_id)
    return Revision.objects.filter(clutch=clutch_id).select_related("clutch")


def revision_answer(revision: Revision) -> dict[str, Any]:
    """One state of a clutch as its keeper sees it."""
    loaded = version_loaded(revision.clutch.version_id)
    content = revision.content
    return {
        "number": revision.number,
        "made_at": revision.made_at,
        "kind": revision.kind,
        "by": revision.author,
        "sheds": revision.sheds,
        "basis": revision.basis or None,
        **parents_of_content(loaded, content),
        "eggs": content["eggs"],
        "hatchlings": stored_groups_answer(content["hatchlings"]),
    }


def stored_groups_answer(groups: Sequence[Mapping[str, Any]]) -> list[dict[str, Any]]:
    """Entries of hatchlings from their stored form."""
    return [
        _group_answer(one["call"], one["count"], one["sex"], one["basis"], one["readings"])
        | {"contradicts_parents": one["contradicts"]}
        for one in groups
    ]


def opinion_list(keeper: Keeper, clutch_id: uuid.UUID) -> QuerySet[Opinion]:
    """Second opinions on a clutch of this keeper, newest first.

    Raises
    ------
    NotFoundError
        Not a clutch of this keeper.
    """
    _own_clutch_checked(keeper, clutch_id)
    return Opinion.objects.filter(clutch=clutch_id)


def opinion_answer(opinion: Opinion) -> dict[str, Any]:
    """A second opinion; nothing says whose it is."""
    return {
        "id": opinion.pk,
        "given_on": opinion.given_at.date(),
        "sheds": opinion.sheds,
        "basis": opinion.basis or None,
        "hatchlings": [
            {name: one[name] for name in ("call", "count", "sex")} | {"or": one.get("or", [])}
            for one in opinion.hatchlings
        ],
        "taken_over_as": opinion.taken_over,
    }


def duplicate_list(keeper: Keeper) -> QuerySet[LikelyDuplicate]:
    """Pairs of reports that may be of one clutch, one of them this keeper's."""
    own = Q(earlier__keeper=keeper) | Q(later__keeper=keeper)
    return LikelyDuplicate.objects.filter(own).select_related("earlier", "later")


def duplicate_get(keeper: Keeper, duplicate_id: uuid.UUID) -> LikelyDuplicate:
    """One of these pairs; somebody else's is not found."""
    found = duplicate_list(keeper).filter(pk=duplicate_id).first()
    if found is None:
        raise NotFoundError(f"You have no pair of reports {duplicate_id}.")
    return found


def duplicate_answer(keeper: Keeper, pair: LikelyDuplicate) -> dict[str, Any]:
    """A pair as one of its keepers sees it: of somebody else's report, nothing but that it is."""
    mine = {side: _own_report(keeper, pair, side) for side in Side}
    return {
        "id": pair.pk,
        "earlier": mine[Side.EARLIER],
        "later": mine[Side.LATER],
        "state": pair.state,
        "reason": pair.reason,
        "found_on": pair.found_at.date(),
        "you_say": _said(pair, is_later=mine[Side.LATER] is not None),
    }


def _own_report(keeper: Keeper, pair: LikelyDuplicate, side: Side) -> uuid.UUID | None:
    report = pair.later if side == Side.LATER else pair.earlier
    return report.pk if report.keeper_id == keeper.pk else None


def _said(pair: LikelyDuplicate, *, is_later: bool) -> str | None:
    said = pair.later_says if is_later else pair.earlier_says
    return None if said is None else str(Verdict.SAME if said else Verdict.DIFFERENT)


def draft_list(keeper: Keeper) -> QuerySet[Draft]:
    """Reports that a keeper has not handed in yet, those touched last first."""
    return Draft.objects.filter(keeper=keeper, clutch=None)


def draft_get(keeper: Keeper, draft_id: uuid.UUID) -> Draft:
    """One draft of a keeper, handed in or not; somebody else's is not found."""
    found = Draft.objects.filter(keeper=keeper, pk=draft_id).first()
    if found is None:
        raise NotFoundError(
            f"You have no unfinished report {draft_id}: it was thrown away, or is older than "
            f"{DRAFT_DAYS} days."
        )
    return found


def draft_answer(draft: Draft) -> dict[str, Any]:
    """An unfinished report as it is exported: the fields as they were typed."""
    return {"touched_on": draft.touched_on, "typed": draft.typed}
