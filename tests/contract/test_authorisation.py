"""Who may call what: every operation by everybody, as one table."""

from __future__ import annotations

import datetime as dt
from typing import Any, Final

import pytest
from django.db import transaction
from django.test import Client

from registry.clutches.services.holding import keeper_hold
from registry.keepers.models import Keeper, KeeperToken
from registry.keepers.selectors import today
from registry.moderation.models import AuditEntry, Moderator
from registry.moderation.services import hold, release
from registry.moderation.site import site
from tests.factories.registry import (
    ANY_STATE,
    API,
    GECKO,
    Api,
    clutch,
    gecko,
    group,
    joined,
    openapi,
    parent,
)

pytestmark = pytest.mark.django_db

CALLERS: Final = ("anonymous", "other", "owner", "moderator", "held", "expired", "revoked")

OPEN_READ: Final = dict.fromkeys(CALLERS, 200)
"""Answered without looking at the token, so a wrong one does no harm."""


def closed(own: int, others: int = 404) -> dict[str, int]:
    """A call of keepers about what is theirs: held ones may go on, nobody else may begin."""
    return {
        "anonymous": 401,
        "other": others,
        "owner": own,
        "moderator": 401,
        "held": own,
        "expired": 401,
        "revoked": 401,
    }


PARENTS: Final = {"sire": parent("het ashwater"), "dam": parent("het ashwater")}
CODED: Final = clutch(clutch_code="of the table", hatchlings={"normal": 4}, season=2020)

# call -> body, expected statuses
TABLE: Final[dict[str, tuple[Any, dict[str, int]]]] = {
    "GET ": (None, OPEN_READ),
    "GET openapi.json": (None, OPEN_READ),
    "GET docs/": (None, OPEN_READ),
    "GET species/": (None, OPEN_READ),
    "GET species/{species}/": (None, OPEN_READ),
    "GET species/{species}/genes/": (None, OPEN_READ),
    "GET species/{species}/look-alikes/": (None, OPEN_READ),
    "GET combinations/": (None, OPEN_READ),
    "GET combinations/{species}/{genes}/": (None, OPEN_READ),
    "GET combinations/{species}/{genes}/history/": (None, OPEN_READ),
    "GET flags/": (None, OPEN_READ),
    "GET exports/": (None, OPEN_READ),
    "GET exports/pools/{species}.csv": (None, OPEN_READ),
    "GET feeds/flags.atom": (None, OPEN_READ),
    "GET feeds/flags/{species}.atom": (None, OPEN_READ),
    "GET feeds/combinations/{species}/{genes}.atom": (None, OPEN_READ),
    "GET keepers/erasures/{receipt}/": (None, OPEN_READ),
    "GET clutches/bulk/template/": (None, OPEN_READ),
    "POST notation/": ({"species": GECKO, "text": "reed"}, OPEN_READ),
    "POST forecasts/": ({"species": GECKO, **PARENTS}, OPEN_READ),
    "POST clutch-checks/": (clutch(), OPEN_READ),
    "POST keepers/": ({}, dict.fromkeys(CALLERS, 201)),
    "POST keepers/recoveries/": ({"recovery_code": "bcr_wrong"}, dict.fromkeys(CALLERS, 401)),
    "GET keepers/me/": (None, closed(200, 200)),
    "GET keepers/me/export/": (None, closed(200, 200)),
    "GET keepers/me/tokens/": (None, closed(200, 200)),
    "POST keepers/me/tokens/": ({}, closed(201, 201)),
    "GET keepers/me/tokens/{token_id}/": (None, closed(200)),
    "DELETE keepers/me/tokens/{token_id}/": (None, closed(204)),
    "POST keepers/me/recovery-code/": ({}, closed(201, 201)),
    "DELETE keepers/me/": (None, closed(200, 200)),
    "GET pairings/": (None, closed(200, 200)),
    "POST pairings/": ({"species": GECKO, "season": 2025, **PARENTS}, closed(201, 201)),
    "GET animals/": (None, closed(200, 200)),
    "GET animals/{animal_id}/": (None, closed(200)),
    "POST animals/{animal_id}/statuses/": ({"gene": "reed", "status": "proven"}, closed(201)),
    "GET clutches/": (None, closed(200, 200)),
    "POST clutches/": (clutch(), closed(201, 201)),
    "POST clutches/bulk/": (clutch(), closed(200, 200)),
    "GET clutches/{clutch_id}/": (None, closed(200)),
    "DELETE clutches/{clutch_id}/": (None, closed(204)),
    "GET clutches/{clutch_id}/revisions/": (None, closed(200)),
    "POST clutches/{clutch_id}/revisions/": ({"eggs": {"died": 1}}, closed(201)),
    "GET clutches/{clutch_id}/opinions/": (None, closed(200)),
    "POST second-opinions/": (
        {
            "species": GECKO,
            "season": 2020,
            "clutch_code": "of the table",
            "hatchlings": [group("normal", 4)],
        },
        # The clutch of that code is a stranger's, so whoever has a token may speak.
        closed(201, 201),
    ),
    "GET duplicates/": (None, closed(200, 200)),
    "GET duplicates/{duplicate_id}/": (None, closed(200)),
    "PUT duplicates/{duplicate_id}/": ({"verdict": "same"}, closed(200)),
}


def operations() -> list[str]:
    return [
        f"{method.upper()} {path.removeprefix(API)}"
        for path, item in openapi()["paths"].items()
        for method in item
        if method in {"get", "post", "put", "patch", "delete"}
    ]


ABOUT_ITSELF: Final = ("GET openapi.json", "GET docs/")
"""Answered as well, and no operation of the document: the document itself, and the page of it."""


def test_table__has_every_operation():
    assert sorted(TABLE) == sorted((*operations(), *ABOUT_ITSELF))


class Scene:
    """A keeper with something of everything, and all who may ask for it."""

    def __init__(self) -> None:
        gecko()
        joined().post("clutches/", CODED)
        owner = joined()
        own = owner.post("clutches/", clutch(parent("66% het reed", "m-1"), "reed"))
        shared = clutch(clutch_code="shared", season=2021)
        joined().post("clutches/", shared)
        owner.post("clutches/", shared)
        gone = joined()
        receipt = gone.send("delete", "keepers/me/", headers=ANY_STATE).json()["receipt"]
        spare = owner.post("keepers/me/tokens/", {})
        self.owner = owner
        self.ids = {
            "species": GECKO,
            "genes": "ashwater",
            "receipt": receipt,
            "clutch_id": own["id"],
            "token_id": spare["id"],
            "animal_id": owner.get("animals/")["results"][0]["id"],
            "duplicate_id": owner.get("duplicates/")["results"][0]["id"],
        }

    def caller(self, name: str) -> Api:
        """Somebody, ready to call."""
        keeper = Keeper.objects.get(pk=self.owner.keeper)
        if name == "anonymous":
            return Api()
        if name == "other":
            return joined()
        if name == "moderator":
            asker = Api()
            asker.client = Client(raise_request_exception=False)
            asker.client.force_login(Moderator.objects.create(handle="warden"))
            return asker
        if name == "held":
            keeper_hold(keeper.pk)
        if name in {"expired", "revoked"}:
            made = self.owner.post("keepers/me/tokens/", {})
            stored = KeeperToken.objects.filter(pk=made["id"])
            if name == "revoked":
                stored.delete()
            else:
                stored.update(expires_on=today() - dt.timedelta(days=1))
            return Api(made["token"])
        return self.owner


@pytest.mark.parametrize("call", sorted(TABLE))
def test_call__is_answered_to_whom_it_may(call):
    body, expected = TABLE[call]
    scene = Scene()
    method, _, path = call.partition(" ")
    sent: dict[str, Any] = {"headers": dict(ANY_STATE)}
    if call == "POST clutches/bulk/":
        sent["content_type"] = "application/jsonl"
    found = {}
    for who in CALLERS:
        # Whatever one caller does is undone before the next one asks.
        with transaction.atomic():
            caller = scene.caller(who)
            answer = caller.send(method.lower(), path.format(**scene.ids), body, **sent)
            transaction.set_rollback(True)
        found[who] = answer.status_code
        if answer.status_code == 401 and who == "expired" and "recoveries" not in path:
            assert answer.json()["code"] == "expired-token"
        if answer.status_code == 404:
            assert answer.json()["code"] == "not-found"
    assert found == expected


def test_matrix__tells_callers_apart():
    """Were everybody answered alike, the table would show nothing."""
    found = {tuple(expected.values()) for _body, expected in TABLE.values()}
    assert len(found) >= 5


# --- the pages of moderation ----------------------------------------------------------------------

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
