"""Who sees which page of moderation: every page by everybody, as one table."""

from __future__ import annotations

from typing import Any, Final

import pytest
from django.db import transaction

from registry.keepers.models import Keeper
from registry.moderation.models import AuditEntry, Moderator
from registry.moderation.services import hold, release
from registry.moderation.site import site
from tests.factories.callers import CALLERS, Scene

pytestmark = pytest.mark.django_db

SIGNED_IN: Final = dict.fromkeys(CALLERS, 302)
"""Whoever is no moderator is led to the page to sign in, whatever token they have."""


def page(moderator: int) -> dict[str, int]:
    """A page for moderators."""
    return SIGNED_IN | {"moderator": moderator}


ROWS: Final = (
    "clutches/clutch/",
    "clutches/likelyduplicate/",
    "keepers/keeper/",
    "moderation/auditentry/",
)
PAGES: Final[dict[str, dict[str, int]]] = {
    "": page(200),
    "login/": dict.fromkeys(CALLERS, 200) | {"moderator": 302},
    # Signing out takes a form.
    "logout/": page(405),
    "password_change/": page(200),
    "password_change/done/": page(200),
    # For choices in forms, of which there are none.
    "autocomplete/": page(403),
    "jsi18n/": page(200),
    "r/<path:content_type_id>/<path:object_id>/": page(404),
    "^(?P<app_label>keepers|clutches|moderation)/$": page(200),
    "(?P<url>.*)$": page(404),
    **{rows: page(200) for rows in ROWS},
    **{f"{rows}add/": page(403) for rows in ROWS},
    **{f"{rows}<path:object_id>/history/": page(200) for rows in ROWS},
    **{f"{rows}<path:object_id>/delete/": page(403) for rows in ROWS},
    **{f"{rows}<path:object_id>/change/": page(200) for rows in ROWS},
    # Leads on to the page above.
    **{f"{rows}<path:object_id>/": page(302) for rows in ROWS},
}


def patterns(found: Any, before: str = "") -> list[str]:
    """Every route below."""
    return [
        route
        for one in found
        for route in (
            patterns(one.url_patterns, before + str(one.pattern))
            if hasattr(one, "url_patterns")
            else [before + str(one.pattern)]
        )
    ]


def test_pages__are_all_in_the_table():
    assert sorted(PAGES) == sorted(patterns(site.urls[0]))


def moderated(scene: Scene) -> dict[str, str]:
    """Rows to look at, by the beginning of their pages."""
    warden = Moderator.objects.create(handle="another warden")
    hold(warden, Keeper.objects.get(pk=scene.owner.keeper).pk, "To have an entry.")
    release(warden, Keeper.objects.get(pk=scene.owner.keeper).pk, "To be as before.")
    ids = (
        scene.ids["clutch_id"],
        scene.ids["duplicate_id"],
        scene.owner.keeper,
        AuditEntry.objects.order_by("pk")[0].pk,
    )
    return dict(zip(ROWS, map(str, ids), strict=True))


def addresses(scene: Scene) -> dict[str, str]:
    """Page -> address of one such page."""
    rows = moderated(scene)
    plain = {
        "r/<path:content_type_id>/<path:object_id>/": "r/1/1/",
        "^(?P<app_label>keepers|clutches|moderation)/$": "keepers/",
        "(?P<url>.*)$": "no/such/page",
    }
    return {
        one: plain.get(one)
        or next(
            (
                one.replace("<path:object_id>", pk)
                for start, pk in rows.items()
                if one.startswith(start)
            ),
            one,
        )
        for one in PAGES
    }


@pytest.mark.parametrize("is_open", [True, False])
def test_page__is_shown_to_moderators_alone(settings, is_open):
    settings.BROODCOUNT_ADMIN = is_open
    scene = Scene()
    path_of = addresses(scene)
    found: dict[str, dict[str, int]] = {one: {} for one in PAGES}
    for who in CALLERS:
        with transaction.atomic():
            caller = scene.caller(who)
            headers = {"Authorization": f"Bearer {caller.token}"} if caller.token else {}
            for one in PAGES:
                answer = caller.client.get(f"/moderation/{path_of[one]}", headers=headers)
                found[one][who] = answer.status_code
                if answer.status_code == 302 and who != "moderator" and one != "logout/":
                    assert answer.headers["Location"].startswith("/moderation/login/?next=")
            transaction.set_rollback(True)
    assert found == (PAGES if is_open else {one: dict.fromkeys(CALLERS, 404) for one in PAGES})
