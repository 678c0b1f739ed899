"""``broodcount traffic``: remove what is kept of calls no longer than needed."""

from __future__ import annotations

import argparse
from typing import Any

from django.core.management.base import BaseCommand

from registry.traffic.limits import counts_sweep
from registry.traffic.services import answers_sweep
from registry.wording import counted


class Command(BaseCommand):
    """Stored answers and counts of calls."""

    help = "Remove stored answers and counts of calls that have expired."

    def add_arguments(self, parser: argparse.ArgumentParser) -> None:
        """``sweep``."""
        parts = parser.add_subparsers(dest="part", required=True)
        parts.add_parser("sweep", help="remove what has expired; now and then it happens by itself")

    def handle(self, *_args: Any, **_options: Any) -> None:
        """Remove, then say how much."""
        n_answers, n_counts = answers_sweep(), counts_sweep(n_rows=None)
        self.stdout.write(
            f"Removed {counted(n_answers, 'stored answer')} and "
            f"{counted(n_counts, 'count of calls', 'counts of calls')}."
        )
