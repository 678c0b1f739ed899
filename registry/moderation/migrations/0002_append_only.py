"""The audit trail refuses changes from whoever asks, its owner included."""

from django.db import migrations

REFUSE = """
CREATE FUNCTION moderation_audit_refuse() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    RAISE EXCEPTION 'the audit trail is append-only: % is refused', TG_OP
        USING ERRCODE = 'insufficient_privilege';
END
$$;
CREATE TRIGGER moderation_audit_rows BEFORE UPDATE OR DELETE ON moderation_auditentry
    FOR EACH ROW EXECUTE FUNCTION moderation_audit_refuse();
CREATE TRIGGER moderation_audit_table BEFORE TRUNCATE ON moderation_auditentry
    FOR EACH STATEMENT EXECUTE FUNCTION moderation_audit_refuse();
"""
ALLOW = """
DROP TRIGGER moderation_audit_rows ON moderation_auditentry;
DROP TRIGGER moderation_audit_table ON moderation_auditentry;
DROP FUNCTION moderation_audit_refuse();
"""


class Migration(migrations.Migration):
    dependencies = [('moderation', '0001_moderators_and_audit_trail')]

    operations = [migrations.RunSQL(REFUSE, ALLOW)]
