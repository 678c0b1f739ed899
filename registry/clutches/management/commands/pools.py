"""``broodcount pools rebuild``: the pools made anew from the clutches, or checked against them."""

from __future__ import annotations

import argparse
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from registry.clutches.services.rebuilding import pools_differences, pools_rebuild


class Command(BaseCommand):
    """Rebuild the pools, or check them."""

    help = "Make the pools anew from the clutches, or check that they are what the clutches say."

    def add_arguments(self, parser: argparse.ArgumentParser) -> None:
        """What to do."""
        parser.add_argument("action", choices=["rebuild"])
        parser.add_argument(
            "--check", action="store_true", help="write nothing; fail if anything differs"
        )

    def handle(self, *_args: Any, **options: Any) -> None:
        """Check or rebuild."""
        if not options["check"]:
            self.stdout.write(f"{pools_rebuild()} families were written into the pools.")
        differences = pools_differences()
        for one in differences:
            self.stderr.write(one)
        if differences:
            raise CommandError("The pools differ from what the clutches say.")
        self.stdout.write("The pools are what the clutches say.")
