"""``broodcount erasures``: list erasures, and repeat them after a restore."""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from registry.records.ledger import Entry, ledger_read
from registry.records.selectors import erasure_entries
from registry.records.services import erasures_replay
from registry.wording import counted


class Command(BaseCommand):
    """The ledger of erasures: digests of keepers' ids and days, nothing else."""

    help = "List the erasures of keepers, or repeat them after an older backup was restored."

    def add_arguments(self, parser: argparse.ArgumentParser) -> None:
        """``list`` and ``replay FILE``."""
        parts = parser.add_subparsers(dest="part", required=True)
        parts.add_parser("list", help="print the ledger of the database, in the form of the file")
        replay = parts.add_parser(
            "replay", help="erase again every keeper that the file lists; may be repeated"
        )
        replay.add_argument("file", type=Path, help="the ledger's file, BROODCOUNT_ERASURE_LEDGER")

    def handle(self, *_args: Any, **options: Any) -> None:
        """Run the part that was asked for."""
        if options["part"] == "list":
            for entry in erasure_entries():
                self.stdout.write(str(entry))
        else:
            self._replay(options["file"])

    def _replay(self, path: Path) -> None:
        misread: list[str] = []
        try:
            done = erasures_replay(self._entries(path, misread))
        except OSError as error:
            raise CommandError(f"{path}: {error.strerror or error}") from error
        self.stdout.write(
            f"{counted(done.n_listed, 'erasure')} listed, "
            f"{counted(done.n_erased, 'keeper')} erased again."
        )
        if misread:
            raise CommandError("\n".join(f"{path}: {one}" for one in misread))

    def _entries(self, path: Path, misread: list[str]) -> Iterator[Entry]:
        for one in ledger_read(path):
            if isinstance(one, Entry):
                yield one
            else:
                misread.append(str(one))
