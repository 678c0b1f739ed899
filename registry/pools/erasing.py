"""A keeper's whole part leaves the pools, in two statements however many families it has."""

from __future__ import annotations

import uuid
from typing import Final

from django.db import connection

_TOUCH_TARGETS: Final = """
UPDATE pools_pooledtarget t SET revision = t.revision + 1
FROM (
    SELECT p.id FROM pools_pooledtarget p
    WHERE p.id IN (SELECT target_id FROM pools_contribution WHERE keeper_id = %(keeper)s)
    ORDER BY p.species_id, p.source, p.key
    FOR UPDATE
) locked
WHERE t.id = locked.id
"""
"""Lock and touch every target that the keeper contributed to, in the order of all other writers:
by key within a species, and a writer of one clutch touches one species only."""

_REMOVE_CONTRIBUTIONS: Final = """
WITH gone AS (
    DELETE FROM pools_contribution WHERE keeper_id = %(keeper)s RETURNING target_id, digest
), change AS (
    SELECT target_id, digest, count(*) AS n FROM gone GROUP BY target_id, digest
), emptied AS (
    DELETE FROM pools_poolrow r USING change
    WHERE r.target_id = change.target_id AND r.digest = change.digest
      AND r.n_families = change.n
)
UPDATE pools_poolrow r SET n_families = r.n_families - change.n
FROM change
WHERE r.target_id = change.target_id AND r.digest = change.digest
  AND r.n_families <> change.n
"""
"""A row of this keeper's families alone disappears; one that others share gets smaller. A row that
held fewer families than leave it would break the constraint of the table, and the erasure with
it."""


def keeper_contributions_remove(keeper_id: uuid.UUID) -> int:
    """Take every family of a keeper out of the pools; returns how many targets it informed.

    What `registry.pools.families.families_replace` does for families with nothing to contribute,
    for all of them. Inside the caller's transaction, which holds the lock of the keeper: without
    it a report at the same time could contribute again. The revisions of the targets rise, so
    the next answer is made without the keeper.
    """
    with connection.cursor() as cursor:
        cursor.execute(_TOUCH_TARGETS, {"keeper": keeper_id})
        n_targets: int = cursor.rowcount
        cursor.execute(_REMOVE_CONTRIBUTIONS, {"keeper": keeper_id})
    return n_targets
