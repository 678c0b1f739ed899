"""``broodcount audit check``: whether the audit trail is whole."""

from __future__ import annotations

import argparse
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from registry.moderation.audit import audit_faults
from registry.moderation.models import AuditEntry


class Command(BaseCommand):
    """Check the chain of the audit trail."""

    help = (
        "Check that no entry of the audit trail was changed or taken away; print the last digest."
    )

    def add_arguments(self, parser: argparse.ArgumentParser) -> None:
        """What to do."""
        parser.add_argument("action", choices=["check"])

    def handle(self, *_args: Any, **_options: Any) -> None:
        """Check."""
        faults = list(audit_faults())
        for one in faults:
            self.stderr.write(one)
        if faults:
            raise CommandError("The audit trail is not what was written.")
        last = AuditEntry.objects.order_by("-pk").first()
        n_entries = AuditEntry.objects.count()
        self.stdout.write(f"{n_entries} entries, last digest {last.sha256 if last else 'none'}")
