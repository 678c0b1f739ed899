"""``broodcount states record``: record changes of states for the feeds, on a timer."""

from __future__ import annotations

import argparse
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from registry.catalogue.selectors import species_get
from registry.errors import NotFoundError
from registry.feeds.services import states_record
from registry.wording import counted


class Command(BaseCommand):
    """Record which combinations changed their state since the last time."""

    help = "Record changes of the states of combinations, which the feeds tell."

    def add_arguments(self, parser: argparse.ArgumentParser) -> None:
        """``record``, for one species or all."""
        parts = parser.add_subparsers(dest="part", required=True)
        record = parts.add_parser("record", help="record what changed since the last time")
        record.add_argument("--species", help="key of one species; all of them if not given")

    def handle(self, *_args: Any, **options: Any) -> None:
        """Record, and tell how many."""
        species = options["species"]
        try:
            if species is not None:
                species_get(species)
        except NotFoundError as error:
            raise CommandError(error.message) from error
        self.stdout.write(
            f"{counted(states_record(species, is_limited=False), 'change')} recorded."
        )
