"""``broodcount restore``: a backup back into an empty database, without the erased keepers."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import Any

from django.core.management import call_command, get_commands
from django.core.management.base import BaseCommand, CommandError

from registry.operation.backup import LEDGER, BackupError, backup_restore, ledger_path


class Command(BaseCommand):
    """Restore, compare, migrate, and erase again whoever was erased since the backup."""

    help = "Restore a backup into an empty database and replay the erasures."

    def add_arguments(self, parser: argparse.ArgumentParser) -> None:
        """``BACKUP`` and where the newest erasures are."""
        parser.add_argument("backup", type=Path, help="folder of one backup")
        which = parser.add_mutually_exclusive_group()
        which.add_argument(
            "--erasures",
            type=Path,
            metavar="FILE",
            help="the newest erasure ledger; default the one of this service",
        )
        which.add_argument(
            "--no-later-erasures",
            action="store_true",
            help="nobody was erased since the backup: the ledger in it is the newest",
        )

    def handle(self, *_args: Any, **options: Any) -> None:
        """Everything is checked before anything is written."""
        backup = options["backup"].absolute()
        ledgers = self._ledgers(backup, options["erasures"], newest=options["no_later_erasures"])
        try:
            lines = backup_restore(backup)
        except BackupError as error:
            raise CommandError(str(error)) from error
        self.stdout.write(f"{len(lines)} tables and sequences restored, checksums equal.")
        call_command("migrate", interactive=False, verbosity=0)
        for ledger in ledgers:
            call_command("erasures", "replay", str(ledger))
        self.stdout.write(f"{len(ledgers)} erasure ledgers replayed.")

    @staticmethod
    def _ledgers(backup: Path, stated: Path | None, *, newest: bool) -> list[Path]:
        """The ledger in the backup, and the one that knows who was erased since."""
        current = stated or ledger_path()
        if not newest and not current.is_file():
            raise CommandError(
                f"There is no erasure ledger at {current}, so keepers who were erased since the "
                "backup would come back. Name the newest ledger with --erasures FILE, or say "
                "--no-later-erasures if nobody was erased since."
            )
        found = [backup / LEDGER, *([] if newest else [current])]
        ledgers = [one for one in found if one.is_file()]
        if ledgers and "erasures" not in get_commands():
            raise CommandError("This version has no command to replay erasures.")
        return ledgers
