"""``broodcount published``: load published crosses."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError

from registry.clutches.services.publishing import published_load
from registry.errors import RegistryError
from registry.wording import counted


class Command(BaseCommand):
    """Bring in published crosses, apart from keepers' clutches."""

    help = "Load published crosses with their citations: a file, or a folder of them."

    def add_arguments(self, parser: argparse.ArgumentParser) -> None:
        """``load [PATH]``."""
        parts = parser.add_subparsers(dest="part", required=True)
        load = parts.add_parser("load", help="load the crosses, replacing those loaded before")
        load.add_argument(
            "path", nargs="?", type=Path, default=Path(settings.BROODCOUNT_FIXTURES) / "published"
        )

    def handle(self, *_args: Any, **options: Any) -> None:
        """Load, then say what was loaded."""
        try:
            results = published_load(options["path"])
        except RegistryError as error:
            raise CommandError(error.message) from error
        for one in results:
            where = "pooled" if one.pooled else "not pooled: the figures are from memory"
            self.stdout.write(
                f"{one.key}: {counted(one.n_crosses, 'cross', 'crosses')}, "
                f"{one.n_hatchlings} offspring, {where}"
            )
