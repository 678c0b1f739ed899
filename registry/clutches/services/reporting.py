"""Report clutches. A clutch and its part in every pool are one transaction."""

from __future__ import annotations

import json
import uuid
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any, Final

from django.db import connection, transaction
from django.db.models import Q, QuerySet
from django.utils import timezone

from registry.catalogue.bridge import LoadedSpecies
from registry.catalogue.selectors import names_elsewhere, species_loaded, version_loaded
from registry.clutches.bridge.reports import (
    ReadClutch,
    animal_identity,
    clutch_read,
    contributions_of,
    family_clutch_new,
    family_clutch_of,
    parents_read,
    readings_to_json,
)
from registry.clutches.bridge.revisions import content_of, twin_digest
from registry.clutches.checking import clutch_counts_checked
from registry.clutches.models import COUNTED, Clutch
from registry.clutches.selectors import held_because, report_answer, with_groups
from registry.clutches.services.copies import copy_keep, copy_waits
from registry.clutches.services.duplicates import copies_lock, earlier_report
from registry.errors import ContradictionError, NotFoundError, at, gathered
from registry.keepers.models import Keeper
from registry.keepers.services import keeper_lock
from registry.pairings.bridge.stored import statement_from_json, statement_to_json
from registry.pairings.models import Pairing
from registry.pairings.seasons import season_checked
from registry.pairings.selectors import pairing_get
from registry.pairings.services import animals_keep, stated_animal
from registry.pools.choices import Source
from registry.pools.families import FamilyPart, PoolOwner, families_replace


@dataclass(frozen=True, slots=True)
class Report:
    """A stored clutch and how it was read; ``labels`` are the keeper's own of sire and dam.

    ``held`` says why it is in no pool; None if it counts. ``held_foretold`` is as much of it as is
    told before the report is handed in.
    """

    clutch_id: uuid.UUID
    read: ReadClutch
    labels: Mapping[str, str | None]
    season: int | None
    reported_at: datetime
    is_declared: bool
    held: str | None = None
    held_foretold: str | None = None


def reported_answer(
    report: Report, given: Mapping[str, Any], *, is_trial: bool = False
) -> dict[str, Any]:
    """A report in the form of ``clutch_answer``, without reading it again.

    Of a trial, why it would be held is told as far as it may be foretold.
    """
    head = {
        "id": report.clutch_id,
        "season": report.season,
        "declared": report.is_declared,
        "held": report.held_foretold if is_trial else report.held,
        "reported_at": report.reported_at,
    }
    return report_answer(head, report.read, given, report.labels)


def clutch_report(keeper: Keeper, given: Mapping[str, Any]) -> Report:
    """Store a clutch and bring the pools up to date. A fixed number of statements.

    Parameters
    ----------
    given
        A validated body: ``species``, ``season``, parents or ``pairing``, ``eggs``,
        ``hatchlings``, ``clutch_code``.

    Returns
    -------
    The report; a likely duplicate, and a clutch of a held keeper, is stored and in no pool.

    Raises
    ------
    FieldsError
        Everything that can be refused, each with its place. Nothing is stored then.
    """
    pairing, loaded = _catalogue_of(keeper, given)
    with gathered() as faults:
        with faults.at("season"):
            season_checked(given["season"])
            _declared_season_checked(given["season"], pairing)
        with faults.at():
            clutch_counts_checked(given)
        with faults.at():
            read = _read(loaded, given, pairing)
    with transaction.atomic():
        copies_lock(given, read)
        animals = _animals(keeper, loaded, given, read, pairing)
        if pairing is None or _is_as_read(pairing):
            return _store(
                _Owner(keeper_id=keeper.pk, published=None, source=Source.KEEPERS),
                given,
                read,
                animals,
                pairing,
            )
        transaction.set_rollback(True)  # lets go of the keeper: what is alike is locked before
    # What breeding has shown of a parent came in between: the declaration says something else now.
    return clutch_report(keeper, given)


def _catalogue_of(keeper: Keeper, given: Mapping[str, Any]) -> tuple[Pairing | None, LoadedSpecies]:
    """The declaration that a clutch joins, and the catalogue version it is read under."""
    if given.get("pairing") is None:
        with at("species"):
            return None, species_loaded(given["species"])
    with at("pairing"):
        try:
            pairing = pairing_get(keeper, given["pairing"])
        except NotFoundError as error:
            raise ContradictionError(error.message) from error
    if pairing.version.species_id != given["species"]:
        with at("species"):
            raise ContradictionError(
                f"The pairing was declared for {pairing.version.species_id}, "
                f"not for {given['species']}."
            )
    return pairing, version_loaded(pairing.version_id)


def _declared_season_checked(season: int, pairing: Pairing | None) -> None:
    """A clutch can not have hatched in a season before the declared one."""
    if pairing is not None and season < pairing.season:
        raise ContradictionError(
            f"The pairing was declared for {pairing.season}; a clutch of {season} can not be its.",
            declared=pairing.season,
        )


def _is_as_read(pairing: Pairing) -> bool:
    """Whether a declaration still says what was read before its keeper was locked."""
    now = Pairing.objects.filter(pk=pairing.pk).values_list("sire_stated", "dam_stated")
    return list(now) == [(pairing.sire_stated, pairing.dam_stated)]


def _read(loaded: LoadedSpecies, given: Mapping[str, Any], pairing: Pairing | None) -> ReadClutch:
    others = names_elsewhere(loaded.key)
    if pairing is None:
        parents = parents_read(loaded, given, others)
    else:
        _declared_parents_checked(given)
        parents = (
            statement_from_json(loaded.species, pairing.sire_stated),
            statement_from_json(loaded.species, pairing.dam_stated),
        )
    return clutch_read(loaded, parents, given["hatchlings"], others)


def _declared_parents_checked(given: Mapping[str, Any]) -> None:
    with gathered() as faults:
        for role in ("sire", "dam"):
            if given.get(role) is not None:
                with faults.at(role):
                    raise ContradictionError(
                        "The parents of a declared pairing are those of its declaration: leave "
                        f"{role} out, or leave pairing out."
                    )


def _animals(
    keeper: Keeper,
    loaded: LoadedSpecies,
    given: Mapping[str, Any],
    read: ReadClutch,
    pairing: Pairing | None,
) -> dict[str, uuid.UUID | None]:
    if pairing is None:
        return animals_keep(
            keeper.pk,
            loaded,
            {
                "sire": stated_animal(given["sire"], read.sire),
                "dam": stated_animal(given["dam"], read.dam),
            },
        )
    keeper_lock(keeper.pk)
    return {"sire": pairing.sire_id, "dam": pairing.dam_id}


@dataclass(frozen=True, slots=True)
class _Owner:
    keeper_id: uuid.UUID | None
    published: str | None
    source: Source


def clutch_store_published(published: str, given: Mapping[str, Any], read: ReadClutch) -> Report:
    """Store one published cross, inside the caller's transaction."""
    owner = _Owner(keeper_id=None, published=published, source=Source.PUBLISHED)
    return _store(owner, given, read, {"sire": None, "dam": None}, None)


def _store(
    owner: _Owner,
    given: Mapping[str, Any],
    read: ReadClutch,
    animals: Mapping[str, uuid.UUID | None],
    pairing: Pairing | None,
) -> Report:
    copy = None
    if owner.keeper_id is not None:
        copy = earlier_report(owner.keeper_id, given, read, animals, pairing)
    waits = copy is not None and copy_waits(copy)
    relatives = list(_relatives(owner.keeper_id, read.loaded.version_id, animals, pairing))
    families = [] if waits else sorted({one.family for one in relatives})
    family = families[0] if families else uuid.uuid4()
    report = Report(
        clutch_id=uuid.uuid4(),
        read=read,
        labels=_labels(given, pairing),
        season=given["season"],
        reported_at=timezone.now(),
        is_declared=pairing is not None and pairing.is_declared_for(given["season"]),
    )
    is_held = _insert(owner, given, report, animals, pairing, _Kin(family, families[1:], waits))
    if copy:
        copy_keep(copy, report.clutch_id, report.reported_at)
    if waits or is_held:
        foretold = waits and copy is not None and copy.is_foretold
        return replace(
            report,
            held=held_because(is_duplicate=waits, is_held=is_held),
            held_foretold=held_because(is_duplicate=foretold, is_held=is_held),
        )
    former = [family_clutch_of(read.loaded, one, one.group_values) for one in relatives]
    new = family_clutch_new(
        read,
        sire=animal_identity("sire", animals["sire"], pairing.pk if pairing else None),
        dam=animal_identity("dam", animals["dam"], pairing.pk if pairing else None),
        season=given["season"],
        declared=report.is_declared,
        n_died=(given.get("eggs") or {}).get("died"),
    )
    families_replace(
        PoolOwner(read.loaded.key, owner.source, read.loaded.version_id, owner.keeper_id),
        former=families[1:],
        parts=[FamilyPart(family, contributions_of(read.loaded, [*former, new]))],
    )
    return report


@dataclass(frozen=True, slots=True)
class _Kin:
    """The family that a new clutch joins, those that it unites, and whether it waits as a copy."""

    family: uuid.UUID
    former: Sequence[uuid.UUID]
    waits: bool


def _labels(given: Mapping[str, Any], pairing: Pairing | None) -> dict[str, str | None]:
    if pairing is None:
        return {role: (given.get(role) or {}).get("animal") for role in ("sire", "dam")}
    animals = {"sire": pairing.sire, "dam": pairing.dam}
    return {role: animal.label if animal else None for role, animal in animals.items()}


def _relatives(
    keeper_id: uuid.UUID | None,
    version_id: int,
    animals: Mapping[str, uuid.UUID | None],
    pairing: Pairing | None,
) -> QuerySet[Clutch, Any]:
    """Clutches of every family that one of the parents belongs to, with their groups.

    Parents without a label are the same animals in all clutches of one declaration.
    """
    known = [one for one in animals.values() if one is not None]
    own = Clutch.objects.filter(COUNTED, keeper=keeper_id, version=version_id)
    if not known and pairing is None:
        return with_groups(own.none())
    related = Q(sire__in=known) | Q(dam__in=known)
    if pairing is not None:
        related |= Q(pairing=pairing)
    families = own.filter(related).values("family")
    return with_groups(own.filter(family__in=families))


_INSERT_CLUTCH: Final = """
WITH moved AS (
    UPDATE clutches_clutch SET family = %(family)s
    WHERE keeper_id = %(keeper)s AND family = ANY(%(former)s::uuid[])
), clutch AS (
    INSERT INTO clutches_clutch
        (id, keeper_id, published_id, version_id, pairing_id, season, sire_id, dam_id, sire_stated,
         dam_stated, family, eggs_laid, eggs_infertile, eggs_died, n_hatchlings, clutch_code,
         is_declared, is_duplicate, is_held, revision, twin, reported_at)
    VALUES
        (%(id)s, %(keeper)s, %(published)s, %(version)s, %(pairing)s, %(season)s, %(sire)s,
         %(dam)s, %(sire_stated)s, %(dam_stated)s, %(family)s, %(laid)s, %(infertile)s, %(died)s,
         %(hatched)s, %(code)s, %(declared)s, %(duplicate)s,
         COALESCE((SELECT k.is_held FROM keepers_keeper k WHERE k.id = %(keeper)s), false),
         1, %(twin)s, %(reported_at)s)
    RETURNING id, is_held
), groups AS (
    INSERT INTO clutches_hatchlinggroup
        (clutch_id, place, call, count, sex, basis, readings, contradicts_parents)
    SELECT clutch.id, g.place, g.call, g.count, g.sex, g.basis, g.readings, g.contradicts
    FROM clutch, unnest(
        %(places)s::int[], %(calls)s::text[], %(counts)s::int[], %(sexes)s::text[],
        %(bases)s::text[], %(readings)s::jsonb[], %(contradicts)s::bool[]
    ) AS g (place, call, count, sex, basis, readings, contradicts)
), first_state AS (
    INSERT INTO clutches_revision (clutch_id, number, made_at, kind, author, basis, content)
    SELECT clutch.id, 1, %(reported_at)s, 'report', 'owner', '', %(content)s::jsonb FROM clutch
)
SELECT is_held FROM clutch
"""


def _insert(
    owner: _Owner,
    given: Mapping[str, Any],
    report: Report,
    animals: Mapping[str, uuid.UUID | None],
    pairing: Pairing | None,
    kin: _Kin,
) -> bool:
    """Store the clutch with its first state; whether a moderator holds its keeper."""
    eggs = given.get("eggs") or {}
    read, groups = report.read, report.read.groups
    with connection.cursor() as cursor:
        cursor.execute(
            _INSERT_CLUTCH,
            {
                "id": report.clutch_id,
                "keeper": owner.keeper_id,
                "published": owner.published,
                "version": read.loaded.version_id,
                "pairing": pairing.pk if pairing else None,
                "season": report.season,
                "sire": animals["sire"],
                "dam": animals["dam"],
                "sire_stated": json.dumps(statement_to_json(read.sire)),
                "dam_stated": json.dumps(statement_to_json(read.dam)),
                "family": kin.family,
                "former": list(kin.former),
                "duplicate": kin.waits,
                "twin": twin_digest(read, report.season) if owner.keeper_id else "",
                "content": json.dumps(content_of(read, eggs)),
                "laid": eggs.get("laid"),
                "infertile": eggs.get("infertile"),
                "died": eggs.get("died"),
                "hatched": read.n_hatchlings,
                "code": given.get("clutch_code") or "",
                "declared": report.is_declared,
                "reported_at": report.reported_at,
                "places": list(range(len(groups))),
                "calls": [one.call for one in groups],
                "counts": [one.count for one in groups],
                "sexes": [one.sex for one in groups],
                "bases": [one.basis for one in groups],
                "readings": [json.dumps(readings_to_json(one)) for one in groups],
                "contradicts": [one.contradicts_parents for one in groups],
            },
        )
        (is_held,) = cursor.fetchone()
    return bool(is_held)
