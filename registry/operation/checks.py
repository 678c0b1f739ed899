"""System checks of our own: ``broodcount check`` and ``broodcount check --deploy``."""

from __future__ import annotations

import os
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any, Final

from django.conf import settings
from django.core.checks import CheckMessage, Error, Tags, register
from django.core.checks import Warning as CheckWarning

from registry.operation.variables import unknown_variable_texts

_LOCAL_HOSTS: Final = frozenset({"localhost", "127.0.0.1", "[::1]"})
_SHORTEST_SECRET: Final = 50


def unknown_variables(app_configs: Any, **_kwargs: Any) -> list[CheckMessage]:
    """E001: a misspelt variable leaves a setting at its default, and says nothing."""
    return [
        Error(text, id="broodcount.E001")
        for text in unknown_variable_texts(settings.BROODCOUNT_UNKNOWN_VARIABLES)
    ]


def hosts_of_https(app_configs: Any, **_kwargs: Any) -> list[CheckMessage]:
    """E002: names of this machine only, while callers come from elsewhere."""
    if not settings.BROODCOUNT_HTTPS or set(settings.ALLOWED_HOSTS) - _LOCAL_HOSTS:
        return []
    return [
        Error(
            "BROODCOUNT_HTTPS is on, but the service answers to names of this machine only.",
            hint="Name what callers call it in BROODCOUNT_ALLOWED_HOSTS.",
            id="broodcount.E002",
        )
    ]


def length_of_secret(app_configs: Any, **_kwargs: Any) -> list[CheckMessage]:
    """E003: a key that can be guessed signs nothing."""
    if len(settings.SECRET_KEY) >= _SHORTEST_SECRET:
        return []
    return [
        Error(
            f"The secret key has fewer than {_SHORTEST_SECRET} characters.",
            hint="Set a longer BROODCOUNT_SECRET_KEY, or none: then one is made and kept.",
            id="broodcount.E003",
        )
    ]


def proxies_of_https(app_configs: Any, **_kwargs: Any) -> list[CheckMessage]:
    """E004: a proxy that is not believed is sent to HTTPS for ever."""
    if not settings.BROODCOUNT_HTTPS or settings.BROODCOUNT_TRUSTED_PROXIES:
        return []
    return [
        Error(
            "BROODCOUNT_HTTPS is on, but no proxy is trusted to say that a call came by HTTPS:"
            " every call would be redirected for ever.",
            hint="Say in BROODCOUNT_TRUSTED_PROXIES how many stand before the service.",
            id="broodcount.E004",
        )
    ]


def data_folder(app_configs: Any, **_kwargs: Any) -> list[CheckMessage]:
    """E005: what has to be kept can't be."""
    folder = Path(settings.BROODCOUNT_DATA_DIR)
    while not folder.exists():
        folder = folder.parent
    if folder.is_dir() and os.access(folder, os.W_OK | os.X_OK):
        return []
    return [
        Error(
            f"The data folder {settings.BROODCOUNT_DATA_DIR} can't be written.",
            hint="Give it to the account of the service, or set BROODCOUNT_DATA_DIR.",
            id="broodcount.E005",
        )
    ]


def moderation_without_https(app_configs: Any, **_kwargs: Any) -> list[CheckMessage]:
    """E006: passwords and sessions of moderators would cross the network in the open."""
    if settings.BROODCOUNT_HTTPS or not settings.BROODCOUNT_ADMIN:
        return []
    return [
        Error(
            "BROODCOUNT_ADMIN is on and BROODCOUNT_HTTPS is off: moderators' passwords and sessions"
            " could be read on their way.",
            hint="Turn BROODCOUNT_HTTPS on behind a proxy, or BROODCOUNT_ADMIN off.",
            id="broodcount.E006",
        )
    ]


def limits_lifted(app_configs: Any, **_kwargs: Any) -> list[CheckMessage]:
    """W001: limits are lifted for benchmarks only."""
    if settings.BROODCOUNT_RATE_LIMITS:
        return []
    return [
        CheckWarning(
            "BROODCOUNT_RATE_LIMITS is off: one caller can take the whole service.",
            hint="Leave it out.",
            id="broodcount.W001",
        )
    ]


def one_role(app_configs: Any, **_kwargs: Any) -> list[CheckMessage]:
    """W002: the web server owns the tables, the audit trail included."""
    if settings.BROODCOUNT_SEPARATE_OWNER:
        return []
    return [
        CheckWarning(
            "The service logs in to the database as the owner of its tables, so it could alter"
            " the audit trail.",
            hint=(
                "Give it a role of its own in DATABASE_URL, and the owner's in"
                " BROODCOUNT_OWNER_DATABASE_URL."
            ),
            id="broodcount.W002",
        )
    ]


Check = Callable[..., Sequence[CheckMessage]]
ALWAYS: Final[tuple[Check, ...]] = (unknown_variables,)
WHEN_DEPLOYED: Final[tuple[Check, ...]] = (
    hosts_of_https,
    length_of_secret,
    proxies_of_https,
    data_folder,
    moderation_without_https,
    limits_lifted,
    one_role,
)


def register_checks() -> None:
    """Make them known to Django."""
    for check in ALWAYS:
        register(check, Tags.compatibility)
    for check in WHEN_DEPLOYED:
        register(check, Tags.security, deploy=True)
