"""The triggers of the audit trail fire in the mode of replication too.

PostgreSQL passes over ordinary triggers in a session with ``session_replication_role`` set to
``replica``: one setting would have opened the trail to changes.
"""

from django.db import migrations

ALWAYS = """
ALTER TABLE moderation_auditentry ENABLE ALWAYS TRIGGER moderation_audit_rows;
ALTER TABLE moderation_auditentry ENABLE ALWAYS TRIGGER moderation_audit_table;
"""
ORDINARY = """
ALTER TABLE moderation_auditentry ENABLE TRIGGER moderation_audit_rows;
ALTER TABLE moderation_auditentry ENABLE TRIGGER moderation_audit_table;
"""


class Migration(migrations.Migration):
    dependencies = [('moderation', '0004_no_time_of_sign_in')]

    operations = [migrations.RunSQL(ALWAYS, ORDINARY)]
