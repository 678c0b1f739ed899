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
    """Add, disable, enable or list moderators, or give one a new password."""

    help = (
        "Add a moderator or give one a new password (which is asked, or read from standard input), "
        "disable, enable or list them."
    )

    def add_arguments(self, parser: argparse.ArgumentParser) -> None:
        """What to do, and for whom."""
        parser.add_argument("action", choices=["add", "password", "disable", "enable", "list"])
        parser.add_argument("handle", nargs="?", help="a word of the moderator's choice, no name")

    def handle(self, *_args: Any, **options: Any) -> None:
        """Do it."""
        action, handle = options["action"], options["handle"]
        if action == "list":
            if handle:
                raise CommandError("The list is of all moderators: broodcount moderator list.")
            for one in Moderator.objects.order_by("handle"):
                self.stdout.write(f"{one.handle}{'' if one.is_active else ' (disabled)'}")
            return
        if not handle:
            raise CommandError(f"Name the moderator: broodcount moderator {action} HANDLE.")
        if action == "add":
            self._add(handle)
        elif action == "password":
            self._renew(handle)
        else:
            self._switch(handle, is_active=action == "enable")

    def _add(self, handle: str) -> None:
        moderator = Moderator(handle=handle)
        try:
            # Before the password is asked for nothing.
            moderator.full_clean(exclude=["password"])
        except ValidationError as error:
            raise CommandError(" ".join(error.messages)) from error
        _give_password(moderator)
        moderator.save(force_insert=True)
        self.stdout.write(f"{handle} may moderate at /moderation/ if BROODCOUNT_ADMIN is on.")

    def _renew(self, handle: str) -> None:
        moderator = Moderator.objects.filter(handle=handle).first()
        if moderator is None:
            raise _unknown(handle)
        _give_password(moderator)
        moderator.save(update_fields=["password"])
        self.stdout.write(f"{handle} has a new password; sessions under the old one are over.")

    def _switch(self, handle: str, *, is_active: bool) -> None:
        if not Moderator.objects.filter(handle=handle).update(is_active=is_active):
            raise _unknown(handle)
        self.stdout.write(f"{handle} {'may moderate again' if is_active else 'is disabled'}.")


def _unknown(handle: str) -> CommandError:
    return CommandError(
        f"There is no moderator {handle!r}. broodcount moderator list tells who there is."
    )


def _give_password(moderator: Moderator) -> None:
    """Ask for a password that is good enough, and keep its hash in the moderator."""
    password = _password()
    try:
        validate_password(password, moderator)
    except ValidationError as error:
        raise CommandError(" ".join(error.messages)) from error
    moderator.set_password(password)


def _password() -> str:
    """As typed twice without being seen, or the first line of standard input."""
    if not sys.stdin.isatty():
        return sys.stdin.readline().rstrip("\n")
    password = getpass.getpass("Password: ")
    if getpass.getpass("The same again: ") != password:
        raise CommandError("The two passwords differ.")
    return password
