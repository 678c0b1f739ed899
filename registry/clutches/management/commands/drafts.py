"""``broodcount drafts``: remove unfinished reports that nobody came back for."""

from __future__ import annotations

import argparse
from typing import Any

from django.core.management.base import BaseCommand

from registry.clutches.services.drafts import drafts_sweep
from registry.wording import counted


class Command(BaseCommand):
    """Unfinished reports of the pages."""

    help = "Remove unfinished reports that were not touched for long."

    def add_arguments(self, parser: argparse.ArgumentParser) -> None:
        """``sweep``."""
        parts = parser.add_subparsers(dest="part", required=True)
        parts.add_parser("sweep", help="for a timer: remove those that have run out")

    def handle(self, *_args: Any, **_options: Any) -> None:
        """Remove, then say how many."""
        self.stdout.write(f"Removed {counted(drafts_sweep(), 'draft')}.")
