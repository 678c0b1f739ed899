"""``broodcount catalogue``: check and load species files."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from registry.catalogue.checking import check_file
from registry.catalogue.services import catalogue_files, catalogue_load
from registry.errors import CatalogueFaultError
from registry.wording import counted


class Command(BaseCommand):
    """Check species files without touching the database, or put them in force."""

    help = "Check or load species files: a file, or a folder of them."

    def add_arguments(self, parser: argparse.ArgumentParser) -> None:
        """``check PATH...`` and ``load PATH...``."""
        parts = parser.add_subparsers(dest="part", required=True)
        for name, text in (
            ("check", "name every fault of the files; nothing is stored"),
            ("load", "check the files, then put them in force as new versions"),
        ):
            parts.add_parser(name, help=text).add_argument("paths", nargs="+", type=Path)

    def handle(self, *_args: Any, **options: Any) -> None:
        """Run the part that was asked for."""
        if options["part"] == "check":
            self._check(options["paths"])
        else:
            self._load(options["paths"])

    def _check(self, paths: list[Path]) -> None:
        files = [one for path in paths for one in catalogue_files(path)]
        faults = [fault for one in files for fault in check_file(one)]
        for fault in faults:
            self.stderr.write(str(fault))
        if faults or not files:
            raise CommandError(f"{counted(len(faults), 'fault')} in {counted(len(files), 'file')}.")
        self.stdout.write(f"{counted(len(files), 'file')}, no fault.")

    def _load(self, paths: list[Path]) -> None:
        for path in paths:
            try:
                results = catalogue_load(path)
            except CatalogueFaultError as error:
                raise CommandError(error.message) from error
            for one in results:
                word = "now in force" if one.is_new else "unchanged"
                self.stdout.write(f"{one.species}: {one.label} {word}")
