"""``broodcount moderator``: who may moderate."""

from __future__ import annotations

import argparse
import getpass
import sys
from typing import Any

from django.contrib.auth.password_validation import validate_password
from django.core.exceptions import ValidationError
from django.core.management.base import BaseCommand, CommandError

from registry.moderation.models import Moderator


class Command(BaseCommand):
    """Add, disable or list moderators."""

    help = "Add a moderator (the password is asked, or read from standard input), disable or list."

    def add_arguments(self, parser: argparse.ArgumentParser) -> None:
        """What to do, and for whom."""
        parser.add_argument("action", choices=["add", "disable", "list"])
        parser.add_argument("handle", nargs="?", help="a word of the moderator's choice, no name")

    def handle(self, *_args: Any, **options: Any) -> None:
        """Do it."""
        if options["action"] == "list":
            for one in Moderator.objects.order_by("handle"):
                self.stdout.write(f"{one.handle}{'' if one.is_active else ' (disabled)'}")
            return
        if not options["handle"]:
            raise CommandError("Name the moderator: broodcount moderator add HANDLE.")
        if options["action"] == "disable":
            if not Moderator.objects.filter(handle=options["handle"]).update(is_active=False):
                raise CommandError(f"There is no moderator {options['handle']!r}.")
            self.stdout.write(f"{options['handle']} is disabled.")
            return
        self._add(options["handle"])

    def _add(self, handle: str) -> None:
        moderator = Moderator(handle=handle)
        password = _password()
        try:
            moderator.full_clean(exclude=["password"])
            validate_password(password, moderator)
        except ValidationError as error:
            raise CommandError(" ".join(error.messages)) from error
        moderator.set_password(password)
        moderator.save()
        self.stdout.write(f"{handle} may moderate at /moderation/ if BROODCOUNT_ADMIN is on.")


def _password() -> str:
    if sys.stdin.isatty():
        return getpass.getpass("Password: ")
    return sys.stdin.readline().rstrip("\n")
