"""Every error code over HTTP: one request that is answered with it, or why there is none yet."""

from __future__ import annotations

import datetime as dt
import uuid
from collections.abc import Callable
from typing import Any, Final

import pytest
from django.db import connection, transaction
from django.test import override_settings

from registry.catalogue.models import Species
from registry.catalogue.services import catalogue_load
from registry.clutches.services import revising
from registry.combinations.api import views
from registry.errors import ErrorCode
from registry.keepers import services
from registry.keepers.models import KeeperToken
from registry.keepers.selectors import today
from registry.pools import services as pool_services
from registry.traffic.sealing import key_digest
from tests.factories.registry import (
    ANY_STATE,
    API,
    FIXTURES,
    GECKO,
    Api,
    clutch,
    gecko,
    group,
    joined,
    stored,
)

pytestmark = pytest.mark.django_db

Request = Callable[[Api], dict[str, Any]]


def notation(text: str) -> Request:
    return lambda _keeper: Api().refused("post", "notation/", {"species": GECKO, "text": text})


def report(**change: Any) -> Request:
    return lambda keeper: keeper.refused("post", "clutches/", clutch() | change)


def combination(genes: str) -> Request:
    return lambda _keeper: Api().refused("get", f"combinations/{GECKO}/{genes}/")


def listed(**query: Any) -> Request:
    return lambda _keeper: Api().refused("get", "combinations/", query=query)


def raw(method: str, path: str, **given: Any) -> Request:
    return lambda _keeper: Api().refused(method, path, **given)


def other_species(_keeper: Api) -> dict[str, Any]:
    catalogue_load(FIXTURES / "catalogue" / "corn-snake.json")
    return notation("tessera")(_keeper)


def broken(_keeper: Api) -> dict[str, Any]:
    """A fault of ours, which no request reaches: a selector that fails."""
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(views, "combination_answer", lambda *_args: 1 / 0)
        return combination("ashwater")(_keeper)


def broken_off(_keeper: Api) -> dict[str, Any]:
    """The database gives a call up for another one. A real deadlock: test_database_faults.py."""

    def given_up(*_args: object) -> None:
        with connection.cursor() as cursor:
            cursor.execute("DO $$ BEGIN RAISE EXCEPTION USING ERRCODE = '40P01'; END $$")

    with transaction.atomic(), pytest.MonkeyPatch.context() as patched:
        patched.setattr(views, "combination_answer", given_up)
        problem = combination("ashwater")(_keeper)
        transaction.set_rollback(True)
    return problem


def not_ready(_keeper: Api) -> dict[str, Any]:
    """Asked before a catalogue is loaded."""
    with transaction.atomic():
        Species.objects.update(current=None)
        problem = raw("get", "/health/ready")(_keeper)
        transaction.set_rollback(True)
    return problem


def not_up_to_date(keeper: Api) -> dict[str, Any]:
    """Asked when one call may not do anything, of a report that is taken back."""
    with transaction.atomic(), pytest.MonkeyPatch.context() as patched:
        keeper.post("clutches/", clutch())
        patched.setattr(pool_services, "MOST_WORK", 0)
        problem = raw("get", "flags/")(keeper)
        transaction.set_rollback(True)
    return problem


def expired(keeper: Api) -> dict[str, Any]:
    """A call the day after the token's last one."""
    KeeperToken.objects.update(expires_on=today() - dt.timedelta(days=1))
    return keeper.refused("get", "clutches/")


def one_token_more(keeper: Api) -> dict[str, Any]:
    """Where a keeper may have no more than the one of joining."""
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(services, "MAX_TOKENS", 1)
        return keeper.refused("post", "keepers/me/tokens/", {})


def one_revision_more(keeper: Api) -> dict[str, Any]:
    """Where one state of a clutch is kept."""
    with transaction.atomic(), pytest.MonkeyPatch.context() as patched:
        made = keeper.post("clutches/", clutch())["id"]
        patched.setattr(revising, "MAX_REVISIONS", 1)
        problem = keeper.refused(
            "post", f"clutches/{made}/revisions/", {"eggs": {"died": 1}}, headers=ANY_STATE
        )
        transaction.set_rollback(True)
    return problem


def key_in_use(keeper: Api) -> dict[str, Any]:
    """The lock of a call that still runs, held by another connection."""
    digest = key_digest(uuid.UUID(keeper.keeper), "k-1")
    other = connection.copy()
    try:
        with other.cursor() as cursor:
            number = int.from_bytes(digest[:8], "big", signed=True)
            cursor.execute("SELECT pg_advisory_lock(%s)", [number])
        return report_with_key(keeper, clutch())
    finally:
        other.close()


def key_reused(keeper: Api) -> dict[str, Any]:
    """A key of an earlier call, which is undone here."""
    with transaction.atomic():
        first = keeper.send("post", "clutches/", clutch(), headers={"Idempotency-Key": "k-1"})
        assert first.status_code == 201
        problem = report_with_key(keeper, clutch(season=2024))
        transaction.set_rollback(True)
    return problem


def report_with_key(keeper: Api, body: Any) -> dict[str, Any]:
    return keeper.refused("post", "clutches/", body, headers={"Idempotency-Key": "k-1"})


def withdrawal(headers: dict[str, str]) -> Request:
    """Of a clutch that is undone here as well."""

    def request(keeper: Api) -> dict[str, Any]:
        with transaction.atomic():
            made = keeper.post("clutches/", clutch())["id"]
            problem = keeper.refused("delete", f"clutches/{made}/", headers=headers)
            transaction.set_rollback(True)
        return problem

    return request


def too_many(_keeper: Api) -> dict[str, Any]:
    with override_settings(BROODCOUNT_RATE_LIMITS=True, BROODCOUNT_RATE_ANONYMOUS=1):
        Api().get("species/")
        return Api().refused("get", "species/")


def many(content: str | bytes, kind: str = "text/csv") -> Request:
    """An upload that is refused as a whole."""
    sent = content.encode() if isinstance(content, str) else content
    return lambda keeper: keeper.refused("post", "clutches/bulk/", content=sent, content_type=kind)


def one_of_many(content: str, kind: str = "text/csv") -> Request:
    """The problem of the first line of an upload."""

    def send(keeper: Api) -> dict[str, Any]:
        problem: dict[str, Any] = keeper.bulk(content, kind)[0]["problem"]
        return problem

    return send


HEADER: Final = "species,season,sire,dam,hatchlings\n"

# code -> the request, and words of its problem
TABLE: Final[dict[str, tuple[Request, str]]] = {
    "bad-request": (raw("get", "species/", headers={"Host": "elsewhere.example"}), "its host"),
    "unreadable-characters": (raw("get", API + "species/?name=%00"), "NUL character"),
    "not-json": (raw("post", "notation/", content=b"{'a': 1}"), "line 1, column 2"),
    "invalid-body": (raw("post", "notation/", body={"species": GECKO}), "The field is missing."),
    "unknown-field": (report(colour="dark"), "There is no field 'colour' here"),
    "unknown-parameter": (listed(colour="dark"), "There is no parameter 'colour' here"),
    "invalid-parameter": (listed(size=9), "less than or equal to 3"),
    "invalid-cursor": (listed(cursor="x"), "Start again without one."),
    "invalid-header": (
        raw("post", "keepers/", body={}, headers={"Idempotency-Key": "short"}),
        "5 characters; this call expects 22 or more",
    ),
    "idempotency-key-in-use": (key_in_use, "still runs"),
    "idempotency-key-reused": (key_reused, "with another body or to another address"),
    "precondition-required": (withdrawal({}), "GET it first and send the ETag"),
    "precondition-failed": (withdrawal({"If-Match": '"x"'}), "It has changed since"),
    "too-many-requests": (too_many, "1 calls are answered in 60 seconds"),
    "not-authenticated": (raw("get", "clutches/"), "POST keepers/ gives a token"),
    "unknown-token": (
        raw("get", "clutches/", headers={"Authorization": "Bearer bck_x"}),
        "The token belongs to no keeper.",
    ),
    "expired-token": (expired, "The last day of this token was"),
    "unknown-recovery-code": (
        raw("post", "keepers/recoveries/", body={"recovery_code": "bcr_x"}),
        "This recovery code is not taken.",
    ),
    "expiry-in-the-past": (
        lambda keeper: keeper.refused("post", "keepers/me/tokens/", {"expires_on": "2020-02-29"}),
        "would be 2020-02-29",
    ),
    "too-many-tokens": (one_token_more, "as many as a keeper can have"),
    "not-found": (raw("get", "nothing/"), "Nothing is found at /api/v1/nothing/."),
    "method-not-allowed": (raw("put", "species/"), "PUT is not known here"),
    "not-acceptable": (raw("get", "species/", headers={"Accept": "text/csv"}), "'text/csv'"),
    "body-too-large": (raw("post", "notation/", content=b" " * 1_000_001), "1000000 bytes"),
    "unsupported-media-type": (
        raw("post", "notation/", content=b"a", content_type="text/plain"),
        "this call reads application/json",
    ),
    "server-error": (broken, "the fault is logged there"),
    "broken-off": (broken_off, "before it changed anything"),
    "not-ready": (not_ready, "No species is in force: load a catalogue."),
    "not-up-to-date": (not_up_to_date, "send the same call again in a moment"),
    "unknown-species": (report(species="gecko"), "The catalogue has no species 'gecko'."),
    "unknown-gene": (notation("quilback"), "Did you mean Quillback?"),
    "gene-of-another-species": (other_species, "it is known in the corn snake"),
    "unreadable-text": (notation("het"), "has no gene behind it"),
    "ambiguous-text": (notation("het ashwater reed"), "can be read in 2 ways"),
    "too-many-alleles": (notation("super saltgrass brackish"), "ml-estuary"),
    "super-of-recessive": (notation("super reed"), "Pale Reed is recessive"),
    "het-of-visible-gene": (notation("het tidemark"), "Tidemark shows in one copy"),
    "possible-het-needs-a-number": (report(sire={"genes": "ph reed"}), "needs its chance"),
    "contradictory-statement": (notation("ashwater het ashwater"), "at once"),
    "counts-do-not-add-up": (report(eggs={"laid": 2}), "2 eggs laid"),
    "season-out-of-range": (report(season=1900), "The season is 1900"),
    "empty-clutch": (report(hatchlings=[]), "neither hatchlings nor eggs"),
    "too-many-hatchlings": (report(hatchlings=[group("normal", 301)]), "301 hatchlings"),
    "too-many-revisions": (one_revision_more, "1 are kept of one clutch"),
    "too-many-lines": (many("{}\n" * 5001, "application/jsonl"), "more than 5000 clutches"),
    "line-too-long": (one_of_many("[" * 70_000, "application/jsonl"), "more than the 65536 bytes"),
    "unknown-column": (many(f"colour,{HEADER}"), "There is no column 'colour' here"),
    "missing-column": (many("species,season,sire,dam\n"), "The column 'hatchlings' is missing"),
    "unreadable-table": (one_of_many(f"{HEADER}a,b\n"), "The row has 2 cells, expected 5"),
    "unreadable-cell": (one_of_many(f"{HEADER}{GECKO},2025,reed,reed,reed\n"), "no count"),
    "too-many-factors": (combination("ashwater reed quillback tidemark"), "at most 3 genes"),
    "not-visible": (combination("het ashwater"), "does not show"),
    "chance-out-of-range": (notation("150% het reed"), "not at 150 %"),
}

UNREACHED: Final = {
    "forbidden": "what is another keeper's is not found; nothing is seen and yet forbidden",
    "too-many-looks": "a forecast lists the likeliest looks and never enumerates the whole table",
    "too-many-outcomes": "the fit merges the rarest looks before it would enumerate too many",
    "hits-out-of-range": "hits are counted by us from hatchlings, never sent",
    "counts-out-of-range": "counts are checked by the bodies before the genetics sees them",
    "level-out-of-range": "levels are ours",
    "catalogue-fault": "species files are loaded by the operator, not over HTTP",
}


def test_every_code__is_triggered_or_has_a_reason():
    assert {str(code) for code in ErrorCode} == set(TABLE) | set(UNREACHED)
    assert not set(TABLE) & set(UNREACHED)
    assert all(UNREACHED.values())


@pytest.mark.parametrize("code", TABLE)
def test_code__is_answered_with_its_status_and_words(code):
    gecko()
    keeper = joined()
    request, words = TABLE[code]
    before = stored()
    problem = request(keeper)
    after = stored()
    assert problem["code"] == code
    assert problem["status"] == ErrorCode(code).http_status
    assert words in problem["detail"]
    if code != "gene-of-another-species":  # that one loads a second species first
        assert after == before


@pytest.mark.parametrize(
    ("path", "parameter"),
    [("species/%00/", None), (f"combinations/{GECKO}/%FF/", None), ("species/?name=%FF", "name")],
)
def test_text_that_is_none__is_refused_wherever_it_stands(path, parameter):
    gecko()
    problem = Api().refused("get", API + path)
    assert problem["status"] in {400, 404}
    if parameter:
        assert problem["errors"][0]["parameter"] == parameter


def test_missing_slash__is_pointed_out():
    problem = Api().refused("get", "/api/v1/species")
    assert problem["status"] == 404
    assert problem["detail"].endswith("Did you mean /api/v1/species/?")
