"""The audit trail: many writers, and what only a digest noted elsewhere can show."""

from __future__ import annotations

import io
from concurrent.futures import ThreadPoolExecutor
from threading import Barrier

import pytest
from django.core.management import CommandError, call_command
from django.db import DatabaseError, connection, connections, transaction

from registry.moderation.audit import AuditCheck, audit_append, audit_check
from registry.moderation.choices import Act
from registry.moderation.models import AuditEntry
from tests.factories.registry import joined

N_WRITERS, N_ENTRIES = 4, 6


def append(n: int) -> AuditEntry:
    keeper = joined()
    with transaction.atomic():
        return audit_append(
            moderator="warden", act=Act.HOLD, about=keeper.keeper, reason=f"Reason number {n}."
        )


@pytest.mark.django_db(transaction=True)
def test_append__of_many_at_once_is_one_chain():
    keeper, together = joined(), Barrier(N_WRITERS)

    def writer(number: int) -> None:
        try:
            together.wait(timeout=30)
            for n in range(N_ENTRIES):
                with transaction.atomic():
                    audit_append(
                        moderator=f"warden {number}",
                        act=Act.HOLD,
                        about=keeper.keeper,
                        reason=f"Reason number {n}.",
                    )
        finally:
            connections.close_all()

    with ThreadPoolExecutor(N_WRITERS) as pool:
        for one in [pool.submit(writer, number) for number in range(N_WRITERS)]:
            one.result()
    found = audit_check()
    assert found.faults == ()
    assert found.n_entries == N_WRITERS * N_ENTRIES
    assert found.last == AuditEntry.objects.order_by("-pk")[0].sha256


@pytest.mark.django_db
def test_check__of_an_empty_trail():
    assert audit_check() == AuditCheck(n_entries=0, last="", faults=())
    told = io.StringIO()
    call_command("audit", "check", stdout=told)
    assert told.getvalue() == "0 entries, last digest none\n"


@pytest.mark.django_db
def test_check__misses_entries_at_the_end_by_the_noted_digest_only():
    for n in range(3):
        append(n)
    noted = audit_check().last
    append(3)
    assert audit_check(noted=noted).faults == ()
    with connection.cursor() as cursor:
        cursor.execute("SET CONSTRAINTS ALL IMMEDIATE")
        cursor.execute("ALTER TABLE moderation_auditentry DISABLE TRIGGER moderation_audit_rows")
        cursor.execute("DELETE FROM moderation_auditentry WHERE sha256 = %s", [noted])
        cursor.execute("DELETE FROM moderation_auditentry WHERE previous = %s", [noted])
        cursor.execute("ALTER TABLE moderation_auditentry ENABLE TRIGGER moderation_audit_rows")
    assert audit_check().faults == ()
    with pytest.raises(CommandError, match="not what was written"):
        call_command("audit", "check", noted=noted, stderr=io.StringIO())
    assert noted in audit_check(noted=noted).faults[0]


@pytest.mark.django_db
def test_entry__has_the_digest_that_anybody_can_make():
    """Held against PostgreSQL's own SHA-256 of the id as text."""
    entry = append(1)
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT a.id FROM moderation_auditentry a, keepers_keeper k"
            " WHERE a.about = encode(sha256(convert_to(k.id::text, 'UTF8')), 'hex')"
        )
        assert cursor.fetchall() == [(entry.pk,)]


@pytest.mark.django_db
@pytest.mark.parametrize(
    "statement",
    ["UPDATE moderation_auditentry SET moderator = 'nobody'", "DELETE FROM moderation_auditentry"],
)
def test_trail__refuses_changes_in_the_mode_of_replication_too(statement):
    append(1)
    with connection.cursor() as cursor:
        cursor.execute("SET CONSTRAINTS ALL IMMEDIATE")
        # Of a superuser; an ordinary trigger is passed over here.
        cursor.execute("SET LOCAL session_replication_role = replica")
        with pytest.raises(DatabaseError, match="append-only"), transaction.atomic():
            cursor.execute(statement)
        cursor.execute("SET LOCAL session_replication_role = origin")
    assert audit_check().faults == ()
    assert AuditEntry.objects.get().moderator == "warden"
