"""A registry with very many clutches, made from a few reported ones."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from django.conf import settings
from django.db import connection
from django.db.models import F
from django.test import Client

from registry.catalogue.selectors import names_elsewhere, species_loaded
from registry.catalogue.services import catalogue_load
from registry.clutches.models import Clutch
from registry.clutches.services.reporting import clutch_report
from registry.combinations.bridge.community import DEMO_SPECIES, community_clutches
from registry.keepers.services import keeper_join
from registry.pools.models import PooledTarget

CROWD = """
CREATE TEMPORARY TABLE twin ON COMMIT DROP AS
SELECT c.id AS old_id, c.family AS old_family, n,
       md5(c.id::text || n)::uuid AS id, md5(c.family::text || n)::uuid AS family
FROM clutches_clutch c, generate_series(1, {times}) n;
INSERT INTO clutches_clutch
    (id, keeper_id, published_id, version_id, pairing_id, season, sire_id, dam_id, sire_stated,
     dam_stated, family, eggs_laid, eggs_infertile, eggs_died, n_hatchlings, clutch_code,
     is_declared, reported_at)
SELECT t.id, keeper_id, published_id, version_id, pairing_id, season, NULL, NULL, sire_stated,
       dam_stated, t.family, eggs_laid, eggs_infertile, eggs_died, n_hatchlings, clutch_code,
       is_declared, reported_at
FROM clutches_clutch c JOIN twin t ON t.old_id = c.id;
INSERT INTO clutches_hatchlinggroup
    (clutch_id, place, call, count, sex, basis, readings, contradicts_parents)
SELECT t.id, place, call, count, sex, basis, readings, contradicts_parents
FROM clutches_hatchlinggroup h JOIN twin t ON t.old_id = h.clutch_id;
INSERT INTO pools_contribution
    (target_id, family, keeper_id, digest, n_clutches, n_declared, n_clutches_with_hit,
     n_hatchlings, n_hits, n_hits_possible, first_hit_season)
SELECT target_id, t.family, keeper_id, digest, n_clutches, n_declared, n_clutches_with_hit,
       n_hatchlings, n_hits, n_hits_possible, first_hit_season
FROM pools_contribution p
JOIN (SELECT DISTINCT old_family, family FROM twin) t ON t.old_family = p.family;
UPDATE pools_poolrow SET n_families = n_families * ({times} + 1);
UPDATE pools_pooledtarget SET revision = revision + 1;
"""
"""Every clutch again and again under new ids, with its family's part in the pools."""


def small_registry() -> Any:
    """Sixty clutches of the invented community; gives a keeper to report with."""
    catalogue_load(Path(settings.BROODCOUNT_FIXTURES) / "demo")
    loaded = species_loaded(DEMO_SPECIES)
    keepers = [keeper_join().keeper for _number in range(12)]
    for number, body in community_clutches(
        loaded, names_elsewhere(DEMO_SPECIES), n_keepers=12, n_clutches=60, seed=1, last_season=2025
    ):
        clutch_report(keepers[number], body)
    return keepers[0]


def multiply(n_clutches: int) -> int:
    """Repeat the clutches until there are more than so many; gives their number."""
    times = n_clutches // Clutch.objects.count() + 1
    with connection.cursor() as cursor:
        cursor.execute("BEGIN")
        cursor.execute(CROWD.format(times=times))
        cursor.execute("COMMIT")
        cursor.execute("ANALYZE")
    return Clutch.objects.count()


def report_one(keeper: Any) -> None:
    """One more clutch, then the board, which must reflect it."""
    clutch_report(
        keeper,
        {
            "species": DEMO_SPECIES,
            "season": 2025,
            "sire": {"genes": "ashwater het quillback"},
            "dam": {"genes": "quillback het ashwater"},
            "hatchlings": [{"call": "ashwater", "count": 3}, {"call": "normal", "count": 3}],
        },
    )
    answer = Client().get(
        "/api/v1/flags/", {"species": DEMO_SPECIES}, headers={"host": "localhost"}
    )
    assert answer.status_code == 200
    assert not PooledTarget.objects.filter(assessed_revision__lt=F("revision")).exists()
