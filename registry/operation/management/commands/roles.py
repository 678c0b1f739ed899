"""``broodcount roles``: the rights of the web server's database role."""

from __future__ import annotations

import argparse
from typing import Any

from django.core.exceptions import ImproperlyConfigured
from django.core.management.base import BaseCommand, CommandError

from registry.operation.roles import roles_grant
from registry.wording import counted


class Command(BaseCommand):
    """Give a role what the web server needs and nothing more."""

    help = "Grant rights to the database role that the web server logs in as."

    def add_arguments(self, parser: argparse.ArgumentParser) -> None:
        """``grant ROLE``."""
        parts = parser.add_subparsers(dest="part", required=True)
        grant = parts.add_parser("grant", help="rows of every table; no table itself")
        grant.add_argument("role", help="a role that exists, not the owner of the tables")

    def handle(self, *_args: Any, **options: Any) -> None:
        """Grant, and say so."""
        try:
            n_tables = roles_grant(options["role"])
        except ImproperlyConfigured as error:
            raise CommandError(str(error)) from error
        if options["verbosity"]:
            self.stdout.write(f"{options['role']}: rights on {counted(n_tables, 'table')} granted.")
