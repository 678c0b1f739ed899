"""Calls change: a new state of a clutch is added, the old ones stay, the pools follow."""

from __future__ import annotations

import json
import uuid
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

from django.db import connection, transaction
from django.utils import timezone

from registry.catalogue.bridge import LoadedSpecies
from registry.catalogue.selectors import names_elsewhere, version_loaded
from registry.clutches.bridge.reports import ReadClutch, clutch_read, look_text
from registry.clutches.bridge.revisions import changes_between, content_of, read_again
from registry.clutches.checking import clutch_counts_checked
from registry.clutches.choices import MAX_REVISIONS, Author, RevisionKind
from registry.clutches.models import Clutch, Opinion, Revision
from registry.clutches.selectors import clutch_answer, clutch_get, opinion_list
from registry.clutches.services.families import families_renew
from registry.errors import (
    ContradictionError,
    CountsDoNotAddUpError,
    TooManyRevisionsError,
    at,
    gathered,
)
from registry.keepers.models import Keeper
from registry.keepers.services import keeper_lock
from registry.wording import counted

Check = Callable[[Clutch], None]
"""Raises if the caller acts on an outdated state of the clutch."""


@dataclass(frozen=True, slots=True)
class NewState:
    """A state of a clutch ready to be stored, and what it is said to rest on."""

    read: ReadClutch
    eggs: Mapping[str, int | None]
    kind: RevisionKind
    author: Author = Author.OWNER
    sheds: int | None = None
    basis: str = ""
    was: Mapping[int, str] | None = None


def clutch_revise(
    keeper: Keeper,
    clutch_id: uuid.UUID,
    given: Mapping[str, Any],
    *,
    unchanged: Check | None = None,
) -> Clutch:
    """Add a state to a clutch and bring the pools up to date.

    Parameters
    ----------
    given
        A validated body: ``hatchlings`` or ``opinion`` (the id of a second opinion to take over),
        ``eggs``, ``kind``, ``sheds``, ``basis``. What is left out stays as it is.
    unchanged
        Called with the clutch once nobody else can change it.

    Raises
    ------
    NotFoundError
        Not a clutch of this keeper.
    FieldsError
        Everything that can be refused, each with its place. Nothing is stored then.
    """
    with transaction.atomic():
        keeper_lock(keeper.pk)
        clutch = clutch_get(keeper, clutch_id)
        if unchanged is not None:
            unchanged(clutch)
        _room_checked(clutch)
        former = Revision.objects.get(clutch=clutch, number=clutch.revision).content
        opinion = _opinion(keeper, clutch, given)
        state = _state(version_loaded(clutch.version_id), former, given, opinion)
        _totals_checked(former, state)
        state_add(clutch, former, state)
        if opinion is not None:
            Opinion.objects.filter(pk=opinion.pk).update(taken_over=clutch.revision + 1)
        families_renew(keeper.pk, [clutch.pk])
        return clutch_get(keeper, clutch_id)


def _room_checked(clutch: Clutch) -> None:
    if clutch.revision >= MAX_REVISIONS:
        raise TooManyRevisionsError(
            f"The clutch has {clutch.revision} states already, and {MAX_REVISIONS} are kept of one "
            "clutch. Withdraw it and report it anew.",
            most=MAX_REVISIONS,
        )


def _opinion(keeper: Keeper, clutch: Clutch, given: Mapping[str, Any]) -> Opinion | None:
    wanted = given.get("opinion")
    if wanted is None:
        return None
    with at("opinion"):
        found = opinion_list(keeper, clutch.pk).filter(pk=wanted).first()
        if found is None:
            raise ContradictionError(f"The clutch has no second opinion {wanted}.")
        if found.taken_over is not None:
            raise ContradictionError(
                f"The opinion was taken over already, as revision {found.taken_over}.",
                revision=found.taken_over,
            )
    return found


def _state(
    loaded: LoadedSpecies,
    former: Mapping[str, Any],
    given: Mapping[str, Any],
    opinion: Opinion | None,
) -> NewState:
    """The new state as it was read; every refusal with its place."""
    entries = opinion.hatchlings if opinion else given.get("hatchlings")
    eggs = former["eggs"] if given.get("eggs") is None else _eggs(given["eggs"])
    others = names_elsewhere(loaded.key)
    if entries is None:
        read = read_again(loaded, former, others)
    else:
        stated = read_again(loaded, {**former, "hatchlings": []}, others)
        parents = (stated.sire, stated.dam)
        read = clutch_read(loaded, parents, entries, others, is_stored=opinion is not None)
    hatched = [{"count": one.count} for one in read.groups]
    clutch_counts_checked({"eggs": eggs, "hatchlings": hatched if entries is None else entries})
    return NewState(
        read=read,
        eggs=eggs,
        kind=_kind(given, opinion),
        author=Author.OTHER if opinion else Author.OWNER,
        sheds=given.get("sheds") if opinion is None else opinion.sheds,
        basis=given.get("basis") or (opinion.basis if opinion else ""),
        was=_former_calls(loaded, entries or ()),
    )


def _eggs(given: Mapping[str, int | None]) -> dict[str, int | None]:
    return {name: given.get(name) for name in ("laid", "infertile", "died")}


def _kind(given: Mapping[str, Any], opinion: Opinion | None) -> RevisionKind:
    if opinion is not None:
        return RevisionKind.OPINION
    if given.get("kind") is not None:
        return RevisionKind(given["kind"])
    return RevisionKind.CORRECTION if given.get("sheds") is None else RevisionKind.SHED


def _former_calls(loaded: LoadedSpecies, entries: Sequence[Mapping[str, Any]]) -> dict[int, str]:
    """Canonical former call of the entries that name one."""
    others = names_elsewhere(loaded.key)
    found = {}
    with gathered() as faults:
        for place, entry in enumerate(entries):
            if entry.get("was") is not None:
                with faults.at("hatchlings", place, "was"):
                    found[place] = look_text(loaded, entry["was"], others)
    return found


def _totals_checked(former: Mapping[str, Any], state: NewState) -> None:
    """Hatchlings don't come and go with a closer look; a slip in counting is a correction."""
    before = sum(one["count"] for one in former["hatchlings"])
    if state.kind != RevisionKind.CORRECTION and state.read.n_hatchlings != before:
        with at("hatchlings"):
            raise CountsDoNotAddUpError(
                f"The clutch had {counted(before, 'hatchling')}, and here "
                f"{'is' if state.read.n_hatchlings == 1 else 'are'} {state.read.n_hatchlings}. "
                "Name all of them, also those whose call stays; if they were counted "
                "wrongly, give 'correction' as kind.",
                before=before,
                now=state.read.n_hatchlings,
            )


_ADD_STATE: Final = """
WITH clutch AS (
    UPDATE clutches_clutch SET
        revision = %(number)s, sire_stated = %(sire)s::jsonb, dam_stated = %(dam)s::jsonb,
        eggs_laid = %(laid)s, eggs_infertile = %(infertile)s, eggs_died = %(died)s,
        n_hatchlings = %(hatched)s
    WHERE id = %(clutch)s
), gone AS (
    DELETE FROM clutches_hatchlinggroup
    WHERE clutch_id = %(clutch)s AND place >= %(entries)s
), groups AS (
    INSERT INTO clutches_hatchlinggroup
        (clutch_id, place, call, count, sex, basis, readings, contradicts_parents)
    SELECT %(clutch)s, g.n - 1, g.one ->> 'call', (g.one ->> 'count')::int, g.one ->> 'sex',
           g.one ->> 'basis', g.one -> 'readings', (g.one ->> 'contradicts')::bool
    FROM jsonb_array_elements(%(groups)s::jsonb) WITH ORDINALITY AS g (one, n)
    ON CONFLICT (clutch_id, place) DO UPDATE SET
        call = EXCLUDED.call, count = EXCLUDED.count, sex = EXCLUDED.sex, basis = EXCLUDED.basis,
        readings = EXCLUDED.readings, contradicts_parents = EXCLUDED.contradicts_parents
), changes AS (
    INSERT INTO pools_callchange
        (clutch_id, revision, species_id, keeper_id, called, became, count, sheds)
    SELECT %(clutch)s, %(number)s, %(species)s, %(keeper)s, c.called, c.became, c.count, %(sheds)s
    FROM unnest(%(called)s::text[], %(became)s::text[], %(counts)s::int[])
        AS c (called, became, count)
)
INSERT INTO clutches_revision (clutch_id, number, made_at, kind, author, sheds, basis, content)
VALUES (%(clutch)s, %(number)s, %(made_at)s, %(kind)s, %(author)s, %(sheds)s, %(basis)s,
        %(content)s::jsonb)
"""


def state_add(clutch: Clutch, former: Mapping[str, Any], state: NewState) -> None:
    """Store a new state of a clutch: one statement, inside the caller's transaction.

    The caller holds the keeper's lock and brings the families up to date afterwards.
    """
    content = content_of(state.read, state.eggs)
    looked_again = state.kind != RevisionKind.BREEDING
    changes = (
        changes_between(former["hatchlings"], content["hatchlings"], state.was or {})
        if looked_again
        else []
    )
    with connection.cursor() as cursor:
        cursor.execute(
            _ADD_STATE,
            {
                "clutch": clutch.pk,
                "keeper": clutch.keeper_id,
                "species": state.read.loaded.key,
                "number": clutch.revision + 1,
                "made_at": timezone.now(),
                "kind": str(state.kind),
                "author": str(state.author),
                "sheds": state.sheds,
                "basis": state.basis,
                "content": json.dumps(content),
                "sire": json.dumps(content["sire"]),
                "dam": json.dumps(content["dam"]),
                **state.eggs,
                "hatched": state.read.n_hatchlings,
                "entries": len(content["hatchlings"]),
                "groups": json.dumps(content["hatchlings"]),
                "called": [one.called for one in changes],
                "became": [one.became for one in changes],
                "counts": [one.count for one in changes],
            },
        )


def revision_tried(keeper: Keeper, clutch_id: uuid.UUID, given: Mapping[str, Any]) -> Any:
    """The clutch as `clutch_revise` would leave it, answered as its keeper sees it. Stores nothing.

    Refuses what that refuses: it is done and taken back in one transaction.
    """
    with transaction.atomic():
        answer = clutch_answer(clutch_revise(keeper, clutch_id, given))
        transaction.set_rollback(True)
    return answer
