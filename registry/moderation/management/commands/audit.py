"""``broodcount audit check``: whether the audit trail is whole."""

from __future__ import annotations

import argparse
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from registry.moderation.audit import audit_check
from registry.wording import counted


class Command(BaseCommand):
    """Check the chain of the audit trail."""

    help = (
        "Check that no entry of the audit trail was changed or taken away; print the last digest, "
        "to be noted elsewhere."
    )

    def add_arguments(self, parser: argparse.ArgumentParser) -> None:
        """What to do."""
        parser.add_argument("action", choices=["check"])
        parser.add_argument(
            "--noted",
            metavar="DIGEST",
            help="a last digest noted earlier: fail if the trail no longer leads up to it",
        )

    def handle(self, *_args: Any, **options: Any) -> None:
        """Check."""
        found = audit_check(noted=options["noted"])
        for one in found.faults:
            self.stderr.write(one)
        if found.faults:
            raise CommandError("The audit trail is not what was written.")
        self.stdout.write(
            f"{counted(found.n_entries, 'entry', 'entries')}, last digest {found.last or 'none'}"
        )
