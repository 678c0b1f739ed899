"""``broodcount exports write FOLDER``: the open data as files."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from registry.errors import RegistryError
from registry.exports.services import export_write


class Command(BaseCommand):
    """Write the pooled counts of every species with their descriptor."""

    help = "Write the pooled counts as CSV files with datapackage.json; an earlier one is replaced."

    def add_arguments(self, parser: argparse.ArgumentParser) -> None:
        """``write FOLDER``."""
        parts = parser.add_subparsers(dest="part", required=True)
        text = "write the package to a new folder, or in place of an earlier one"
        parts.add_parser("write", help=text).add_argument("folder", type=Path)

    def handle(self, *_args: Any, **options: Any) -> None:
        """Write, and name the files."""
        try:
            names = export_write(options["folder"])
        except RegistryError as error:
            raise CommandError(error.message) from error
        for name in names:
            self.stdout.write(name)
