"""``broodcount backup``: save the database and the erasures so far."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from registry.operation.backup import BackupError, backup_make, ledger_path


class Command(BaseCommand):
    """Make one backup; the service may run meanwhile."""

    help = "Save the database with its checksums and the erasure ledger into a new folder."

    def add_arguments(self, parser: argparse.ArgumentParser) -> None:
        """``FOLDER``."""
        parser.add_argument("folder", type=Path, help="where the backups are; one folder each")

    def handle(self, *_args: Any, **options: Any) -> None:
        """Make it, and print where it is."""
        try:
            made = backup_make(options["folder"].absolute(), ledger=ledger_path())
        except BackupError as error:
            raise CommandError(str(error)) from error
        self.stdout.write(str(made))
