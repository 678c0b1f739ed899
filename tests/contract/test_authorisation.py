"""Who may call what: every operation by everybody, as one table."""

from __future__ import annotations

from contextlib import suppress
from typing import Any, Final

import pytest
from django.db import transaction

from registry.clutches.models import Clutch
from registry.errors import ExpiredTokenError
from registry.keepers.authentication import TokenAuthentication
from registry.keepers.models import Keeper, KeeperToken
from registry.keepers.services import token_use
from tests.factories.callers import CALLERS, Scene
from tests.factories.registry import (
    ANY_STATE,
    API,
    GECKO,
    clutch,
    group,
    openapi,
    parent,
)

pytestmark = pytest.mark.django_db

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
        "unknown": 401,
    }


CODES: Final = {
    "anonymous": "not-authenticated",
    # A session is nothing here, so who has one is told what somebody without a token is told.
    "moderator": "not-authenticated",
    "expired": "expired-token",
    "revoked": "unknown-token",
    "unknown": "unknown-token",
}
"""Why a caller is refused with 401."""

PARENTS: Final = {"sire": parent("het ashwater"), "dam": parent("het ashwater")}

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


def answered(call: str) -> tuple[dict[str, int], set[str]]:
    """The status that everybody got, and who was told what is the owner's alone."""
    body, _expected = TABLE[call]
    scene = Scene()
    method, _, path = call.partition(" ")
    sent: dict[str, Any] = {"headers": dict(ANY_STATE)}
    if call == "POST clutches/bulk/":
        sent["content_type"] = "application/jsonl"
    found, told = {}, set()
    for who in CALLERS:
        # Whatever one caller does is undone before the next one asks.
        with transaction.atomic():
            caller = scene.caller(who)
            answer = caller.send(method.lower(), path.format(**scene.ids), body, **sent)
            transaction.set_rollback(True)
        found[who] = answer.status_code
        if answer.status_code == 401 and "recoveries" not in path:
            assert answer.json()["code"] == CODES.get(who), who
        if answer.status_code == 404:
            assert answer.json()["code"] == "not-found"
        # A refusal may repeat what the caller sent; only what is new to the caller is told.
        if answer.status_code < 300 and any(one.encode() in answer.content for one in scene.own):
            told.add(who)
    return found, told


@pytest.mark.parametrize("call", sorted(TABLE))
def test_call__is_answered_to_whom_it_may(call):
    found, told = answered(call)
    assert found == TABLE[call][1]
    # One who is held is the owner.
    assert told <= {"owner", "held"}


def test_matrix__sees_what_the_owner_is_told():
    """Were the owner told nothing, it would show nothing that others are not."""
    for call in ("GET keepers/me/", "GET clutches/", "GET clutches/{clutch_id}/", "GET animals/"):
        assert answered(call)[1] == {"owner", "held"}


CLUTCH_LIST: Final = "registry.clutches.selectors.clutch_list"
IS_EXPIRED: Final = "registry.keepers.models.KeeperToken.is_expired"
AUTHENTICATORS: Final = "registry.api.base.ApiView.get_authenticators"
TOKEN_USE: Final = "registry.keepers.authentication.token_use"


def any_keeper_s(_keeper: Keeper) -> Any:
    return Clutch.objects.select_related("version", "sire", "dam")


def any_token(token: str) -> KeeperToken | None:
    """Whoever sends one that is not taken is taken for some keeper."""
    with suppress(ExpiredTokenError):
        if used := token_use(token):
            return used
    return KeeperToken.objects.select_related("keeper").first()


class ByCookie(TokenAuthentication):
    """What must never be: whoever signed in as a moderator is taken for some keeper."""

    def authenticate(self, request: Any) -> Any:
        if request._request.user.is_authenticated:
            return Keeper.objects.order_by("pk")[0], None
        return super().authenticate(request)


@pytest.mark.parametrize(
    ("call", "where", "broken", "let_in"),
    [
        ("GET clutches/{clutch_id}/", CLUTCH_LIST, any_keeper_s, ["other"]),
        ("GET clutches/", IS_EXPIRED, lambda *_given: False, ["expired"]),
        ("GET pairings/", AUTHENTICATORS, lambda _v: [ByCookie()], ["moderator"]),
        ("GET animals/", TOKEN_USE, any_token, ["expired", "revoked", "unknown"]),
    ],
)
def test_matrix__notices_a_door_that_was_left_open(monkeypatch, call, where, broken, let_in):
    monkeypatch.setattr(where, broken)
    (found, _told), expected = answered(call), TABLE[call][1]
    assert [who for who in CALLERS if found[who] != expected[who]] == let_in


def test_matrix__tells_callers_apart():
    """Were everybody answered alike, the table would show nothing."""
    found = {tuple(expected.values()) for _body, expected in TABLE.values()}
    assert len(found) >= 5
