"""``broodcount checksums``: one line a table, to compare two databases."""

from __future__ import annotations

from typing import Any

from django.core.management.base import BaseCommand
from django.db import connection, transaction

from registry.operation.checksums import checksums


class Command(BaseCommand):
    """Print count and checksum of every table, and where every sequence stands."""

    help = "Print a checksum of every table; equal databases print equal lines."

    def handle(self, *_args: Any, **_options: Any) -> None:
        """Print the lines of one snapshot."""
        with transaction.atomic(), connection.cursor() as cursor:
            cursor.execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ READ ONLY")
            for line in checksums():
                self.stdout.write(line)
