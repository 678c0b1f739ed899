"""Assessments of the pools brought up to date.

They are a fixed number of statements, however many targets take part.
"""

from __future__ import annotations

import json
from collections import defaultdict
from collections.abc import Mapping, Sequence
from math import log10
from typing import Any, Final

from django.conf import settings
from django.db import connection, transaction
from django.db.models import Count, F, Min, Q, QuerySet, Sum
from django.db.models.functions import Coalesce

from registry.errors import NotUpToDateError
from registry.pools.bridge.assessments import (
    WATCH_LEVEL,
    Assessment,
    assessed,
    flagged,
    log10_without_top,
)
from registry.pools.bridge.comparisons import (
    Suspect,
    explained_by_parts,
    explained_by_whole,
    is_part_of,
)
from registry.pools.bridge.rows import Pools, pools_of
from registry.pools.choices import FEW_KEEPERS, Source, State
from registry.pools.locks import refresh_lock, targets_lock
from registry.pools.look_alikes import changes_of
from registry.pools.models import UNCOMPARED, Contribution, PooledTarget, PoolRow
from registry.pools.probation import keepers_established
from registry.pools.stored_rows import rows_of
from registry.pools.work import MOST_WORK, Allowance

_REFRESH_BATCH: Final = 500


def targets_refresh(
    *,
    species: str | None = None,
    source: Source | None = None,
    ids: Sequence[int] | None = None,
    is_limited: bool = True,
) -> int:
    """Bring stale assessments up to date; returns how many were.

    Reading services call this first, so that lists and answers reflect every acknowledged clutch.
    The revision is read before the pool: a change in between leaves the target stale.

    Parameters
    ----------
    is_limited
        Do no more than ``MOST_WORK``; commands are not limited.

    Raises
    ------
    NotUpToDateError
        There is more to do than one call may, or another one is still at it. What was done is
        kept, so that calling again comes to an end.
    """
    stale = PooledTarget.objects.filter(assessed_revision__lt=F("revision"))
    suspects = PooledTarget.objects.filter(UNCOMPARED)
    if species is not None:
        stale, suspects = stale.filter(species=species), suspects.filter(species=species)
    if source is not None:
        stale, suspects = stale.filter(source=source), suspects.filter(source=source)
    if ids is not None:
        stale = stale.filter(pk__in=ids)
    allowance = Allowance(MOST_WORK if is_limited else None)
    refreshed = 0
    for key in sorted(set(stale.values_list("species_id", flat=True).distinct())):
        with refresh_lock(key):
            refreshed += _stale_assess(key, stale.filter(species=key), allowance)
    for key, one in sorted(set(suspects.values_list("species_id", "source"))):
        if allowance.is_used_up:
            raise NotUpToDateError(key)
        with refresh_lock(key):
            suspects_compare(species=key, source=Source(one))
    return refreshed


def _stale_assess(species: str, stale: QuerySet[PooledTarget], allowance: Allowance) -> int:
    """Assess what is stale, in order, as far as is allowed; returns how many were."""
    refreshed, last = 0, 0
    while True:
        rows = (
            stale.filter(pk__gt=last)
            .order_by("pk")
            .values("pk", "species_id", "revision", "factors")
        )
        batch = list(rows[:_REFRESH_BATCH])
        if batch and allowance.is_used_up:
            raise NotUpToDateError(species)
        done = _assess(batch, allowance) if batch else 0
        refreshed += done
        if done < len(batch):
            raise NotUpToDateError(species)
        if len(batch) < _REFRESH_BATCH:
            return refreshed
        last = batch[-1]["pk"]


def suspects_compare(*, species: str, source: Source) -> None:
    """Tell which short combinations are news, and which are explained by another one.

    First wholes by their parts; then, with those that are left, parts by their wholes. A fixed
    number of statements.
    """
    near = PooledTarget.objects.filter(species=species, source=source)
    rows = list(near.filter(Q(state=State.WATCH) | ~Q(compared_revision=0)).order_by("key"))
    on_watch = [one for one in rows if one.state == State.WATCH]
    pools = rows_of(
        PoolRow.objects.filter(target__in=on_watch)
        .order_by("target", "digest")
        .values_list("target_id", "digest", "n_families")
    )
    suspects = [
        Suspect(row_id=one.pk, combination=one.combination, pools=own)
        for one in on_watch
        if (own := pools_of(one.factors, pools.get(one.pk, ())))
    ]
    explained = {one.row_id: explained_by_parts(one) for one in suspects}
    news = [one for one in suspects if explained[one.row_id] is None]
    pairs = [(part, whole) for part in news for whole in news if is_part_of(part, whole)]
    elsewhere = _elsewhere({one.pk: one.factors for one in on_watch}, pairs)
    for part, whole in pairs:
        if explained[part.row_id] is None:
            apart = elsewhere[part.row_id, whole.row_id]
            explained[part.row_id] = explained_by_whole(part, whole, apart)
    for one in rows:
        one.explained_by = explained.get(one.pk)
        one.compared_revision = one.assessed_revision if one.state == State.WATCH else 0
    _comparisons_store(rows)


_ELSEWHERE: Final = """
SELECT pair.part, pair.whole, c.digest, count(*)
FROM unnest(%(parts)s::bigint[], %(wholes)s::bigint[]) AS pair (part, whole)
JOIN pools_contribution c ON c.target_id = pair.part
WHERE NOT EXISTS (
    SELECT FROM pools_contribution w WHERE w.target_id = pair.whole AND w.family = c.family
)
GROUP BY pair.part, pair.whole, c.digest
ORDER BY pair.part, pair.whole, c.digest
"""


def _elsewhere(
    factors: Mapping[int, Sequence[Sequence[str]]], pairs: Sequence[tuple[Suspect, Suspect]]
) -> dict[tuple[int, int], Pools]:
    """Of each part and whole, the part's pool from families that say nothing of the whole."""
    keys = [(part.row_id, whole.row_id) for part, whole in pairs]
    if not keys:
        return {}
    with connection.cursor() as cursor:
        cursor.execute(
            _ELSEWHERE, {"parts": [one for one, _ in keys], "wholes": [one for _, one in keys]}
        )
        counted = [((part, whole), digest, n) for part, whole, digest, n in cursor.fetchall()]
    rows = rows_of(counted)
    return {key: pools_of(factors[key[0]], rows.get(key, ())) for key in keys}


_STORE_COMPARISONS: Final = """
UPDATE pools_pooledtarget t
SET explained_by = a.explained_by, compared_revision = a.compared
FROM (
    SELECT * FROM unnest(
        %(ids)s::bigint[], %(assessed)s::bigint[], %(explained)s::jsonb[], %(compared)s::bigint[]
    ) AS f (target_id, assessed, explained_by, compared)
) a
WHERE t.id = a.target_id AND t.assessed_revision = a.assessed
"""
"""A target that was assessed anew meanwhile is left, so that it is compared again."""


@transaction.atomic
def _comparisons_store(rows: Sequence[PooledTarget]) -> None:
    targets_lock([one.pk for one in rows])
    with connection.cursor() as cursor:
        cursor.execute(
            _STORE_COMPARISONS,
            {
                "ids": [one.pk for one in rows],
                "assessed": [one.assessed_revision for one in rows],
                "explained": [one.explained_by and json.dumps(one.explained_by) for one in rows],
                "compared": [one.compared_revision for one in rows],
            },
        )


def _assess(batch: Sequence[Mapping[str, Any]], allowance: Allowance) -> int:
    """Assess targets until the allowance is used up; returns how many were."""
    ids = [one["pk"] for one in batch]
    counts = _counts_of(ids)
    rows = rows_of(
        PoolRow.objects.filter(target__in=ids)
        .order_by("target", "digest")
        .values_list("target_id", "digest", "n_families")
    )
    changes = changes_of({one["species_id"] for one in batch})
    assessments: list[Assessment] = []
    for one in batch:
        if allowance.is_used_up:
            break
        found = assessed(one["factors"], rows.get(one["pk"], ()), changes[one["species_id"]])
        allowance.take(found.work)
        assessments.append(found)
    done = batch[: len(assessments)]
    _assessments_store(done, counts, assessments, _without_top(done, assessments))
    return len(done)


def _without_top(
    batch: Sequence[Mapping[str, Any]], assessments: Sequence[Assessment]
) -> dict[int, float | None]:
    """Of each target near a flag, the evidence without the keeper who moves it most."""
    near = {
        one["pk"]: one["factors"]
        for one, found in zip(batch, assessments, strict=True)
        if found.state == State.WATCH
    }
    if not near:
        return {}
    # Of published crosses, which have no keeper, each family stands for itself.
    found = (
        Contribution.objects.filter(target__in=near)
        .annotate(who=Coalesce("keeper_id", "family"))
        .values_list("target_id", "who", "digest")
        .annotate(n=Count("pk"))
        .order_by("target_id", "digest", "who")
    )
    rows = rows_of(((target, who), digest, n) for target, who, digest, n in found)
    by_keeper: dict[int, dict[Any, Pools]] = defaultdict(dict)
    for (target, keeper), own in rows.items():
        by_keeper[target][keeper] = pools_of(near[target], own)
    return {target: log10_without_top(own) for target, own in by_keeper.items()}


def flagged_targets(source: Source, species: str | None = None) -> frozenset[int]:
    """Rows of the targets that are flagged, over all targets of each species.

    Those must be on watch, not be explained by another combination, survive weighted e-BH, and,
    unless published, hang on no single keeper, see ``_sturdy``. Three statements at most.
    """
    looked_at = PooledTarget.objects.filter(source=source, n_hatchlings__gt=0)
    if species is not None:
        looked_at = looked_at.filter(species=species)
    news = looked_at.filter(
        state=State.WATCH, explained_by__isnull=True, compared_revision=F("assessed_revision")
    )
    on_watch = news.values_list("species_id", "pk", "log10_e_value", "n_factors")
    candidates: dict[str, dict[int, tuple[float, int]]] = defaultdict(dict)
    for key, row_id, log10_e, size in on_watch:
        candidates[key][row_id] = (log10_e, size)
    if not candidates:
        return frozenset()
    counted: dict[str, dict[int, int]] = defaultdict(dict)
    sizes = looked_at.filter(species__in=candidates).values("species_id", "n_factors")
    for one in sizes.annotate(n=Count("pk")):
        counted[one["species_id"]][one["n_factors"]] = one["n"]
    found = [row for key in candidates for row in flagged(candidates[key], counted[key])]
    return frozenset(found if source == Source.PUBLISHED else _sturdy(found))


def _sturdy(targets: Sequence[int]) -> list[int]:
    """Targets whose flag hangs on no single keeper, and on no new ones.

    Three established keepers or more reported, and without the one who moves the evidence most it
    would still be on watch: so one keeper moves a state by one step at most.
    """
    reported = Contribution.objects.filter(
        target__in=targets, target__log10_without_top__gte=log10(WATCH_LEVEL)
    )
    if settings.BROODCOUNT_KEEPER_PROBATION_DAYS:
        reported = reported.filter(keeper__in=keepers_established().values("pk"))
    counted = reported.values("target_id").annotate(n=Count("keeper", distinct=True))
    return [one["target_id"] for one in counted if one["n"] >= FEW_KEEPERS]


def _counts_of(ids: Sequence[int]) -> dict[int, Mapping[str, Any]]:
    """Plain counts over the contributions of each target."""
    counted = (
        Contribution.objects.filter(target__in=ids)
        .values("target_id")
        .annotate(
            clutches=Sum("n_clutches"),
            declared=Sum("n_declared"),
            with_hit=Sum("n_clutches_with_hit"),
            keepers=Count("keeper", distinct=True),
            keepers_with_hit=Count("keeper", distinct=True, filter=Q(n_hits__gt=0)),
            season=Min("first_hit_season"),
        )
    )
    return {one["target_id"]: one for one in counted}


_STORE_ASSESSMENTS: Final = """
UPDATE pools_pooledtarget t SET
    assessed_revision = a.revision, state = a.state, n_clutches = a.clutches,
    n_declared = a.declared, n_keepers = a.keepers, n_hatchlings = a.hatchlings, n_hits = a.hits,
    n_hits_possible = a.possible, n_clutches_with_hit = a.with_hit,
    n_keepers_with_hit = a.keepers_with_hit, first_hit_season = a.season, expected = a.expected,
    p_value = a.p_value, log10_p_value = a.log10_p_value, chance_of_none = a.chance_of_none,
    n_cut_families = a.cut, log10_e_value = a.log10_e_value, more_hatchlings = a.more,
    reason = a.reason, log10_without_top = a.without_top
FROM (
    SELECT * FROM unnest(
        %(ids)s::bigint[], %(revisions)s::bigint[], %(states)s::text[], %(clutches)s::int[],
        %(declared)s::int[], %(keepers)s::int[], %(hatchlings)s::int[], %(hits)s::int[],
        %(possible)s::int[], %(with_hit)s::int[], %(keepers_with_hit)s::int[],
        %(seasons)s::smallint[], %(expected)s::float8[], %(p_values)s::float8[],
        %(log10)s::float8[], %(none)s::float8[], %(cut)s::int[], %(e_values)s::float8[],
        %(more)s::int[], %(reasons)s::jsonb[], %(without)s::float8[]
    ) AS f (target_id, revision, state, clutches, declared, keepers, hatchlings, hits, possible,
            with_hit, keepers_with_hit, season, expected, p_value, log10_p_value, chance_of_none,
            cut, log10_e_value, more, reason, without_top)
) a
WHERE t.id = a.target_id AND t.assessed_revision < a.revision
"""


@transaction.atomic
def _assessments_store(
    batch: Sequence[Mapping[str, Any]],
    counts: Mapping[int, Mapping[str, Any]],
    assessments: Sequence[Assessment],
    without_top: Mapping[int, float | None],
) -> None:
    def counted(name: str) -> list[Any]:
        return [counts.get(one["pk"], {}).get(name) or 0 for one in batch]

    targets_lock([one["pk"] for one in batch])
    with connection.cursor() as cursor:
        cursor.execute(
            _STORE_ASSESSMENTS,
            {
                "ids": [one["pk"] for one in batch],
                "revisions": [one["revision"] for one in batch],
                "states": [one.state for one in assessments],
                "clutches": counted("clutches"),
                "declared": counted("declared"),
                "keepers": counted("keepers"),
                "hatchlings": [one.n_hatchlings for one in assessments],
                "hits": [one.n_hits for one in assessments],
                "possible": [one.n_hits_possible for one in assessments],
                "with_hit": counted("with_hit"),
                "keepers_with_hit": counted("keepers_with_hit"),
                "seasons": [counts.get(one["pk"], {}).get("season") for one in batch],
                "expected": [one.expected for one in assessments],
                "p_values": [one.p_value for one in assessments],
                "log10": [one.log10_p_value for one in assessments],
                "none": [one.chance_of_none for one in assessments],
                "cut": [one.n_cut_families for one in assessments],
                "e_values": [one.log10_e_value for one in assessments],
                "more": [one.more_hatchlings for one in assessments],
                "without": [without_top.get(one["pk"]) for one in batch],
                "reasons": [one.reason and json.dumps(one.reason) for one in assessments],
            },
        )
