"""Changes of states, recorded."""

from __future__ import annotations

from typing import Final

from django.db import connection, transaction
from django.utils import timezone

from registry.catalogue.models import Species
from registry.pools.choices import Source, State
from registry.pools.services import flagged_targets, targets_refresh

_RECORD: Final = """
WITH shown AS (
    SELECT species_id, source, key, combination, factors,
           CASE WHEN state = %(watch)s AND id = ANY(%(flagged)s::bigint[]) THEN %(flag)s
                ELSE state END AS state
    FROM pools_pooledtarget
    WHERE source = %(source)s AND species_id = ANY(%(species)s)
), last AS (
    SELECT DISTINCT ON (species_id, source, key) species_id, source, key, after
    FROM feeds_statechange
    WHERE source = %(source)s AND species_id = ANY(%(species)s)
    ORDER BY species_id, source, key, id DESC
)
INSERT INTO feeds_statechange
    (public_id, species_id, source, key, combination, factors, before, after, recorded_on)
SELECT gen_random_uuid(), shown.species_id, shown.source, shown.key, shown.combination,
       shown.factors, COALESCE(last.after, %(none)s), shown.state, %(today)s
FROM shown LEFT JOIN last USING (species_id, source, key)
WHERE shown.state <> COALESCE(last.after, %(none)s)
ORDER BY shown.species_id, shown.key
"""
"""What was never recorded had no reports before. Identifiers are random and tell no time."""


def states_record(species: str | None = None, *, is_limited: bool = True) -> int:
    """Record every state of a keepers' combination that is not the one recorded last.

    ``flagged`` depends on all combinations of a species and is computed when somebody asks, so a
    change happens at no moment of its own: it is recorded when a feed is read, or by the command
    on a timer. A fixed number of statements. Returns how many changes there were.

    Parameters
    ----------
    is_limited
        As of ``targets_refresh``, which may refuse; the command is not limited.

    Notes
    -----
    Two that record at once wait for each other at the rows of the species: the second then sees
    what the first recorded, so that nothing is recorded twice or out of order. The states are
    computed behind that lock; what goes stale meanwhile is recorded the next time.
    """
    targets_refresh(species=species, source=Source.KEEPERS, is_limited=is_limited)
    rows = Species.objects.order_by("key")
    if species is not None:
        rows = rows.filter(key=species)
    with transaction.atomic(), connection.cursor() as cursor:
        # no_key: reports refer to the species, and need not wait.
        keys = list(rows.select_for_update(no_key=True).values_list("key", flat=True))
        cursor.execute(
            _RECORD,
            {
                "species": keys,
                "source": str(Source.KEEPERS),
                "flagged": sorted(flagged_targets(Source.KEEPERS, species)),
                "watch": str(State.WATCH),
                "flag": str(State.FLAGGED),
                "none": str(State.NO_REPORTS),
                "today": timezone.now().date(),
            },
        )
        n_changes: int = cursor.rowcount
    return n_changes
