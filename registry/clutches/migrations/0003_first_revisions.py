"""Clutches from before there were revisions get their report as the first one."""

from django.db import migrations

FIRST = """
INSERT INTO clutches_revision (clutch_id, number, made_at, kind, author, basis, content)
SELECT c.id, 1, c.reported_at, 'report', 'owner', '', jsonb_build_object(
    'eggs', jsonb_build_object(
        'laid', c.eggs_laid, 'infertile', c.eggs_infertile, 'died', c.eggs_died
    ),
    'sire', c.sire_stated,
    'dam', c.dam_stated,
    'hatchlings', COALESCE((
        SELECT jsonb_agg(jsonb_build_object(
            'call', g.call, 'count', g.count, 'sex', g.sex, 'basis', g.basis,
            'readings', g.readings, 'contradicts', g.contradicts_parents
        ) ORDER BY g.place)
        FROM clutches_hatchlinggroup g WHERE g.clutch_id = c.id
    ), '[]'::jsonb)
)
FROM clutches_clutch c
WHERE NOT EXISTS (SELECT FROM clutches_revision r WHERE r.clutch_id = c.id)
"""


class Migration(migrations.Migration):
    dependencies = [('clutches', '0002_revisions_opinions_duplicates')]

    operations = [migrations.RunSQL(FIRST, migrations.RunSQL.noop)]
