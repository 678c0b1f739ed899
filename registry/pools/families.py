"""What family groups contribute to the pools, replaced for any number of them at once."""

from __future__ import annotations

import json
import uuid
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final

from django.db import connection

from registry.pools.bridge.rows import StoredContribution
from registry.pools.choices import Source

_TOUCH_TARGETS: Final = """
INSERT INTO pools_pooledtarget AS t
    (species_id, source, key, combination, n_factors, factors, revision, assessed_revision, state,
     n_clutches, n_declared, n_keepers, n_hatchlings, n_hits, n_hits_possible, n_clutches_with_hit,
     n_keepers_with_hit, expected, p_value, log10_p_value, chance_of_none, n_cut_families,
     log10_e_value, compared_revision)
SELECT named.species_id, named.source, named.key, named.combination, named.n_factors,
       named.factors, 1, 0, 'no-reports', 0, 0, 0, 0, 0, 0, 0, 0, 0, 1, 0, 1, 0, 0, 0
FROM (
    SELECT DISTINCT ON (species_id, source, key) *
    FROM (
        SELECT 0 AS rank, %(species)s AS species_id, %(source)s AS source, key, combination,
               n_factors, factors
        FROM unnest(%(keys)s::text[], %(combinations)s::text[], %(sizes)s::int[],
                    %(factors)s::jsonb[]) AS fresh (key, combination, n_factors, factors)
        UNION ALL
        SELECT 1, p.species_id, p.source, p.key, p.combination, p.n_factors, p.factors
        FROM pools_pooledtarget p
        WHERE p.id = ANY(ARRAY(
            SELECT c.target_id FROM pools_contribution c WHERE c.family = ANY(%(families)s::uuid[])
        ))
    ) every
    ORDER BY species_id, source, key, rank
) named
ORDER BY named.species_id, named.source, named.key
ON CONFLICT (species_id, source, key) DO UPDATE SET revision = t.revision + 1
RETURNING t.id, t.key, t.species_id, t.source
"""
"""Create or touch every target that the families contributed to or will. Rows are locked in key
order, so two writers never wait for each other, and everything below a target is safe from others.
"""

_REPLACE_CONTRIBUTIONS: Final = """
WITH fresh AS (
    SELECT * FROM unnest(
        %(parts)s::uuid[], %(targets)s::bigint[], %(digests)s::text[], %(contents)s::jsonb[],
        %(clutches)s::int[], %(declared)s::int[], %(with_hit)s::int[], %(hatchlings)s::int[],
        %(hits)s::int[], %(possible)s::int[], %(seasons)s::smallint[]
    ) AS f (family, target_id, digest, content, n_clutches, n_declared, n_clutches_with_hit,
            n_hatchlings, n_hits, n_hits_possible, first_hit_season)
), old AS (
    SELECT id, target_id, digest FROM pools_contribution WHERE family = ANY(%(families)s::uuid[])
), gone AS (
    DELETE FROM pools_contribution c
    WHERE c.family = ANY(%(families)s::uuid[]) AND NOT EXISTS (
        SELECT FROM fresh f WHERE f.family = c.family AND f.target_id = c.target_id
    )
), put AS (
    INSERT INTO pools_contribution
        (target_id, family, keeper_id, digest, n_clutches, n_declared, n_clutches_with_hit,
         n_hatchlings, n_hits, n_hits_possible, first_hit_season)
    SELECT target_id, family, %(keeper)s, digest, n_clutches, n_declared, n_clutches_with_hit,
           n_hatchlings, n_hits, n_hits_possible, first_hit_season
    FROM fresh
    ON CONFLICT (target_id, family) DO UPDATE SET
        digest = EXCLUDED.digest, n_clutches = EXCLUDED.n_clutches,
        n_declared = EXCLUDED.n_declared, n_clutches_with_hit = EXCLUDED.n_clutches_with_hit,
        n_hatchlings = EXCLUDED.n_hatchlings, n_hits = EXCLUDED.n_hits,
        n_hits_possible = EXCLUDED.n_hits_possible, first_hit_season = EXCLUDED.first_hit_season
), change AS (
    SELECT target_id, digest, sum(n) AS n
    FROM (SELECT target_id, digest, 1 AS n FROM fresh
          UNION ALL SELECT target_id, digest, -1 FROM old) moved
    GROUP BY target_id, digest
    HAVING sum(n) <> 0
), emptied AS (
    DELETE FROM pools_poolrow r USING change
    WHERE r.target_id = change.target_id AND r.digest = change.digest
      AND r.n_families + change.n = 0
), lessened AS (
    UPDATE pools_poolrow r SET n_families = r.n_families + change.n
    FROM change
    WHERE r.target_id = change.target_id AND r.digest = change.digest
      AND change.n < 0 AND r.n_families + change.n <> 0
)
INSERT INTO pools_poolrow AS r (target_id, version_id, digest, content, n_families)
SELECT change.target_id, %(version)s, change.digest, said.content, change.n
FROM change JOIN (
    SELECT DISTINCT ON (target_id, digest) target_id, digest, content FROM fresh
) said USING (target_id, digest)
WHERE change.n > 0
ON CONFLICT (target_id, digest) DO UPDATE SET n_families = r.n_families + EXCLUDED.n_families
"""
"""Take the families' old contributions out of the pools and put the new ones in."""


@dataclass(frozen=True, slots=True)
class FamilyPart:
    """A family and what it contributes now, in order of target key."""

    family: uuid.UUID
    contributions: Sequence[StoredContribution]


@dataclass(frozen=True, slots=True)
class PoolOwner:
    """Whose clutches the families are, and the catalogue version that they were read under."""

    species: str
    source: Source
    version_id: int | None
    keeper_id: uuid.UUID | None


def families_replace(
    owner: PoolOwner, *, former: Iterable[uuid.UUID] = (), parts: Sequence[FamilyPart] = ()
) -> None:
    """Replace what families contribute. Two statements, inside the caller's transaction.

    Parameters
    ----------
    former
        Families whose contributions leave the pools, whatever their species; those of ``parts``
        need not be named.
    parts
        What each family says now; a family that says nothing may be left out.

    Notes
    -----
    The caller holds a lock that keeps every other writer from these families.
    """
    families = sorted({*former, *(one.family for one in parts)})
    fresh = [(part.family, one) for part in parts for one in part.contributions]
    targets = {one.target.key: one.target for _family, one in fresh}
    with connection.cursor() as cursor:
        cursor.execute(
            _TOUCH_TARGETS,
            {
                "species": owner.species,
                "source": str(owner.source),
                "families": families,
                "keys": list(targets),
                "combinations": [one.combination for one in targets.values()],
                "sizes": [one.n_factors for one in targets.values()],
                "factors": [json.dumps(one.factors) for one in targets.values()],
            },
        )
        touched = cursor.fetchall()
        if not touched:
            return
        own = (owner.species, str(owner.source))
        ids = {key: row_id for row_id, key, *whose in touched if tuple(whose) == own}
        said = [one.contribution for _family, one in fresh]
        cursor.execute(
            _REPLACE_CONTRIBUTIONS,
            {
                "version": owner.version_id,
                "keeper": owner.keeper_id,
                "families": families,
                "parts": [family for family, _one in fresh],
                "targets": [ids[one.target.key] for _family, one in fresh],
                "digests": [one.digest for _family, one in fresh],
                "contents": [one.content for _family, one in fresh],
                "clutches": [one.n_clutches for one in said],
                "declared": [one.n_declared for one in said],
                "with_hit": [one.n_clutches_with_hit for one in said],
                "hatchlings": [one.n_hatchlings for one in said],
                "hits": [one.n_hits for one in said],
                "possible": [one.n_hits_possible for one in said],
                "seasons": [one.first_hit_season for one in said],
            },
        )
