"""A keeper's whole part leaves the pools, in four statements however many families it has."""

from __future__ import annotations

import uuid
from typing import Final

from django.db import connection

from registry.pools.locks import targets_lock

_TARGETS: Final = "SELECT DISTINCT target_id FROM pools_contribution WHERE keeper_id = %(keeper)s"

_TOUCH_TARGETS: Final = """
UPDATE pools_pooledtarget SET revision = revision + 1 WHERE id = ANY(%(targets)s::bigint[])
"""
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
        cursor.execute(_TARGETS, {"keeper": keeper_id})
        targets = [target for (target,) in cursor.fetchall()]
        targets_lock(targets)
        cursor.execute(_TOUCH_TARGETS, {"targets": targets})
        cursor.execute(_REMOVE_CONTRIBUTIONS, {"keeper": keeper_id})
    return len(targets)
