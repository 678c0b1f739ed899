"""Moderators: their pages, their acts with reasons, and the trail of them."""

from __future__ import annotations

import io
import re
from typing import Any

import pytest
from django.core.management import CommandError, call_command
from django.db import DatabaseError, connection, transaction
from django.test import Client

from registry.clutches.models import LikelyDuplicate
from registry.clutches.services.rebuilding import pools_differences
from registry.errors import ContradictionError
from registry.keepers.models import Hold, Keeper
from registry.keepers.selectors import today
from registry.moderation.audit import audit_check, digest_of_id
from registry.moderation.models import AuditEntry, Moderator
from registry.moderation.services import hold, release
from tests.factories.registry import ANY_STATE, Api, clutch, gecko, joined, parent

pytestmark = pytest.mark.django_db

PASSWORD = "a long one, and odd: 7/3"
PAGES = (
    "",
    "keepers/keeper/",
    "clutches/clutch/",
    "clutches/likelyduplicate/",
    "moderation/auditentry/",
)


@pytest.fixture
def opened(settings: Any) -> None:
    settings.BROODCOUNT_ADMIN = True


@pytest.fixture
def moderator(opened: None) -> Client:
    made = Moderator(handle="marsh warden")
    made.set_password(PASSWORD)
    made.save()
    client = Client()
    answer = client.post(
        "/moderation/login/?next=/moderation/", {"username": "marsh warden", "password": PASSWORD}
    )
    assert answer.status_code == 302, answer.content
    return client


def pk_of(keeper: Api) -> Any:
    return Keeper.objects.get(pk=keeper.keeper).pk


def act(client: Client, page: str, action: str, pk: Any, **more: Any) -> Any:
    given = {"action": action, "_selected_action": str(pk), **more}
    return client.post(f"/moderation/{page}", given, follow=True)


def done(client: Client, page: str, action: str, pk: Any, reason: str) -> str:
    answer = act(client, page, action, pk, confirmed="yes", reason=reason)
    assert answer.status_code == 200, answer.content
    return str(answer.content.decode())


# --- the pages ----------------------------------------------------------------------------------


def test_pages__are_not_there_unless_opened(settings):
    settings.BROODCOUNT_ADMIN = False
    for page in (*PAGES, "login/", "logout/", "jsi18n/"):
        assert Client().get(f"/moderation/{page}").status_code == 404
        assert Client().post(f"/moderation/{page}").status_code == 404


@pytest.mark.parametrize("page", PAGES)
def test_pages__are_for_moderators_alone(opened, page):
    keeper = joined()
    for headers in ({}, {"Authorization": f"Bearer {keeper.token}"}):
        answer = Client().get(f"/moderation/{page}", headers=headers)
        assert (answer.status_code, answer.headers["Location"].partition("?")[0]) == (
            302,
            "/moderation/login/",
        )


def test_pages__of_a_disabled_moderator_are_closed(moderator):
    assert moderator.get("/moderation/").status_code == 200
    call_command("moderator", "disable", "marsh warden", stdout=io.StringIO())
    assert moderator.get("/moderation/").status_code == 302


def test_pages__show_no_labels_notes_and_secrets(moderator):
    gecko()
    keeper = joined()
    made = keeper.post(
        "clutches/",
        clutch(parent("het ashwater", "secret-label"), clutch_code="secret-code"),
    )
    shown = ""
    for page in (*PAGES, f"clutches/clutch/{made['id']}/change/"):
        answer = moderator.get(f"/moderation/{page}", follow=True)
        assert answer.status_code == 200
        shown += answer.content.decode()
    assert made["id"] in shown
    assert str(keeper.keeper) in shown
    own = Keeper.objects.get(pk=keeper.keeper)
    digests = [own.recovery_sha256, *own.tokens.values_list("sha256", flat=True)]
    assert not [one for one in (keeper.token, *digests) if str(one) in shown]
    assert "secret-" not in shown


@pytest.mark.parametrize("what", ["add/", "{pk}/delete/", "{pk}/change/"])
def test_pages__nothing_is_added_changed_or_deleted(moderator, what):
    gecko()
    keeper = joined()
    path = f"/moderation/keepers/keeper/{what.format(pk=keeper.keeper)}"
    answer = moderator.post(path, {"is_held": "on", "post": "yes"})
    assert answer.status_code in {403, 302}
    assert not Keeper.objects.filter(is_held=True).exists()
    assert Keeper.objects.count() == 1


def test_session__opens_nothing_of_the_interface(moderator):
    for path in ("keepers/me/", "clutches/", "duplicates/"):
        answer = moderator.get(f"/api/v1/{path}")
        assert answer.status_code == 401
    cookie = moderator.cookies["sessionid"]
    assert (cookie["httponly"], cookie["samesite"]) == (True, "Strict")


def test_sign_in__is_counted_like_calls_of_nobody(opened, settings):
    settings.BROODCOUNT_RATE_LIMITS = True
    settings.BROODCOUNT_RATE_ANONYMOUS = 3
    given = {"username": "nobody", "password": "x"}
    answers = [Client().post("/moderation/login/", given).status_code for _ in range(5)]
    assert answers == [200, 200, 200, 429, 429]


# --- acts ---------------------------------------------------------------------------------------


def test_hold__needs_a_reason_and_is_told_to_the_keeper(moderator):
    gecko()
    keeper = joined()
    keeper.post("clutches/", clutch())
    asked = act(moderator, "keepers/keeper/", "hold", keeper.keeper)
    assert b"Kept in the audit trail for good" in asked.content
    reasons = ("", "why", "x" * 501, f"it is {keeper.token}", f"Of {keeper.recovery_code}".upper())
    named = (
        f"It is {keeper.keeper} again.",
        f"See {str(keeper.keeper).replace('-', '').upper()}.",
        f"See {digest_of_id(pk_of(keeper))}.",
        "Ask mara@marsh.example.",
    )
    for reason in (*reasons, *named):
        page = done(moderator, "keepers/keeper/", "hold", keeper.keeper, reason)
        assert "errorlist" in page
    assert keeper.get("keepers/me/")["held"] is None
    assert not AuditEntry.objects.exists()
    done(moderator, "keepers/keeper/", "hold", keeper.keeper, "Counts  that\ncan not be.")
    held = keeper.get("keepers/me/")["held"]
    assert held["reason"] == "Counts that can not be."
    assert Api().combination("ashwater")["tried"]["clutches"] == 0
    entry = AuditEntry.objects.get()
    assert (entry.act, entry.moderator, entry.reason) == (
        "hold",
        "marsh warden",
        "Counts that can not be.",
    )
    assert entry.about == digest_of_id(pk_of(keeper))
    again = done(moderator, "keepers/keeper/", "hold", keeper.keeper, "A second time.")
    assert "is held already" in again
    done(moderator, "keepers/keeper/", "release", keeper.keeper, "They were right after all.")
    assert keeper.get("keepers/me/")["held"] is None
    assert Api().combination("ashwater")["tried"]["clutches"] == 1
    assert Hold.objects.exclude(released_on=None).count() == 1
    assert AuditEntry.objects.count() == 2
    assert audit_check().faults == ()
    assert pools_differences() == []


def test_duplicates__are_judged(moderator):
    gecko()
    body = clutch("het reed", "reed", {"normal": 7, "reed": 5}, eggs={"laid": 14})
    for _ in range(2):
        joined().post("clutches/", body)
    pair = LikelyDuplicate.objects.get().pk
    page = "clutches/likelyduplicate/"
    for action, n_clutches in (("different", 2), ("same", 1), ("take_back", 1)):
        done(moderator, page, action, pair, f"Because of {action}.")
        assert Api().combination("reed")["tried"]["clutches"] == n_clutches
    acts = list(AuditEntry.objects.order_by("pk").values_list("act", flat=True))
    assert acts == ["different", "same", "take-back"]
    assert pools_differences() == []


def test_act__that_fails_leaves_no_entry_and_an_entry_that_fails_no_act(monkeypatch):
    gecko()
    warden = Moderator.objects.create(handle="warden")
    keeper = joined()
    with pytest.raises(ContradictionError):
        release(warden, pk_of(keeper), "Not held at all.")
    monkeypatch.setattr("registry.moderation.services.audit_append", lambda **_given: 1 / 0)
    with pytest.raises(ZeroDivisionError):
        hold(warden, pk_of(keeper), "A good reason.")
    assert not Keeper.objects.filter(is_held=True).exists()
    assert not Hold.objects.exists()
    assert not AuditEntry.objects.exists()


def test_export__tells_of_every_hold():
    gecko()
    warden, keeper = Moderator.objects.create(handle="warden"), joined()
    hold(warden, pk_of(keeper), "A good reason.")
    release(warden, pk_of(keeper), "A better one.")
    hold(warden, pk_of(keeper), "Another reason.")
    day = today().isoformat()
    assert keeper.get("keepers/me/export/")["holds"] == [
        {"since": day, "reason": "A good reason.", "released_on": day},
        {"since": day, "reason": "Another reason.", "released_on": None},
    ]


def test_erasure__leaves_an_entry_that_names_nobody():
    gecko()
    warden, keeper = Moderator.objects.create(handle="warden"), joined()
    hold(warden, pk_of(keeper), "A good reason.")
    assert keeper.send("delete", "keepers/me/", headers=ANY_STATE).status_code == 200
    entry = AuditEntry.objects.get()
    assert str(keeper.keeper) not in str(vars(entry))
    assert not Hold.objects.exists()


# --- the trail ----------------------------------------------------------------------------------


@pytest.fixture
def trail() -> None:
    gecko()
    warden = Moderator.objects.create(handle="warden")
    for n in range(3):
        keeper = joined()
        hold(warden, pk_of(keeper), f"Reason number {n}.")


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE moderation_auditentry SET reason = 'another one'",
        "DELETE FROM moderation_auditentry",
        "TRUNCATE moderation_auditentry",
    ],
)
def test_trail__refuses_to_be_changed_by_its_owner_too(trail, statement):
    with connection.cursor() as cursor:
        cursor.execute("SET CONSTRAINTS ALL IMMEDIATE")
        cursor.execute("ALTER TABLE moderation_auditentry ENABLE TRIGGER moderation_audit_table")
        with pytest.raises(DatabaseError, match="append-only"), transaction.atomic():
            cursor.execute(statement)
        cursor.execute("ALTER TABLE moderation_auditentry DISABLE TRIGGER moderation_audit_table")
    assert AuditEntry.objects.count() == 3


@pytest.mark.parametrize(
    ("tampering", "found"),
    [
        ("UPDATE moderation_auditentry SET reason = 'Another.' WHERE id = %s", "was changed"),
        ("UPDATE moderation_auditentry SET moderator = 'nobody' WHERE id = %s", "was changed"),
        ("DELETE FROM moderation_auditentry WHERE id = %s", "what came before it"),
    ],
)
def test_check__finds_what_was_changed_around_the_trigger(trail, tampering, found, capsys):
    call_command("audit", "check")
    assert re.search(r"3 entries, last digest [0-9a-f]{64}", capsys.readouterr().out)
    with connection.cursor() as cursor:
        cursor.execute("SET CONSTRAINTS ALL IMMEDIATE")
        cursor.execute("ALTER TABLE moderation_auditentry DISABLE TRIGGER moderation_audit_rows")
        cursor.execute(tampering, [AuditEntry.objects.order_by("pk")[1].pk])
        cursor.execute("ALTER TABLE moderation_auditentry ENABLE TRIGGER moderation_audit_rows")
    with pytest.raises(CommandError):
        call_command("audit", "check")
    assert found in capsys.readouterr().err


# --- commands -----------------------------------------------------------------------------------


@pytest.mark.parametrize("password", ["short", "password1234", "123456789012345"])
def test_moderator__with_a_weak_password_is_refused(monkeypatch, password):
    monkeypatch.setattr("sys.stdin", io.StringIO(f"{password}\n"))
    with pytest.raises(CommandError, match="password"):
        call_command("moderator", "add", "warden")
    assert not Moderator.objects.exists()


def test_moderator__is_added_listed_and_disabled(monkeypatch, capsys):
    monkeypatch.setattr("sys.stdin", io.StringIO(f"{PASSWORD}\n"))
    call_command("moderator", "add", "warden")
    stored = Moderator.objects.get()
    assert stored.check_password(PASSWORD)
    assert PASSWORD not in stored.password
    call_command("moderator", "disable", "warden")
    call_command("moderator", "list")
    assert "warden (disabled)" in capsys.readouterr().out
    with pytest.raises(CommandError, match="no moderator 'other'"):
        call_command("moderator", "disable", "other")
    with pytest.raises(CommandError, match="Name the moderator"):
        call_command("moderator", "add")
    call_command("moderator", "enable", "warden")
    assert Moderator.objects.get().is_active
    with pytest.raises(CommandError, match="of all moderators"):
        call_command("moderator", "list", "warden")


@pytest.mark.parametrize("handle", ["Warden", "mara@marsh.example", " warden", "a" * 41, "wärter"])
def test_moderator__with_another_handle_is_refused_before_a_password_is_asked(monkeypatch, handle):
    monkeypatch.setattr("sys.stdin", None)
    with pytest.raises(CommandError, match=r"small letters|at most 40"):
        call_command("moderator", "add", handle)


def test_moderator__is_not_added_twice(monkeypatch):
    Moderator.objects.create(handle="warden")
    monkeypatch.setattr("sys.stdin", None)
    with pytest.raises(CommandError, match="already exists"):
        call_command("moderator", "add", "warden")


def test_moderator__gets_a_new_password_and_sessions_end(moderator, monkeypatch):
    assert moderator.get("/moderation/").status_code == 200
    monkeypatch.setattr("sys.stdin", io.StringIO("short\n"))
    with pytest.raises(CommandError, match="too short"):
        call_command("moderator", "password", "marsh warden")
    assert Moderator.objects.get().check_password(PASSWORD)
    monkeypatch.setattr("sys.stdin", io.StringIO(f"{PASSWORD} now\n"))
    call_command("moderator", "password", "marsh warden", stdout=io.StringIO())
    assert Moderator.objects.get().check_password(f"{PASSWORD} now")
    assert moderator.get("/moderation/").status_code == 302
    with pytest.raises(CommandError, match="no moderator 'other'"):
        call_command("moderator", "password", "other")


def test_password__is_typed_twice_at_a_terminal(monkeypatch):
    class Terminal(io.StringIO):
        def isatty(self) -> bool:
            return True

    monkeypatch.setattr("sys.stdin", Terminal())
    typed = iter([PASSWORD, "another", PASSWORD, PASSWORD])
    monkeypatch.setattr("getpass.getpass", lambda _prompt: next(typed))
    with pytest.raises(CommandError, match="differ"):
        call_command("moderator", "add", "warden")
    assert not Moderator.objects.exists()
    call_command("moderator", "add", "warden", stdout=io.StringIO())
    assert Moderator.objects.get().check_password(PASSWORD)
