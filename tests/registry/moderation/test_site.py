"""What the pages of moderation must not give away, to moderators and to those who pose as one."""

from __future__ import annotations

import re
from datetime import timedelta
from html import unescape
from typing import Any

import pytest
from django.conf import settings as used
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from registry.clutches.models import Clutch, LikelyDuplicate
from registry.keepers.models import Keeper
from registry.keepers.selectors import today
from registry.moderation.models import AuditEntry, Moderator
from registry.moderation.services import hold, release
from registry.moderation.site import site
from tests.factories.registry import (
    GECKO,
    PROBLEM,
    clutch,
    counted,
    gecko,
    group,
    joined,
    parent,
    statements,
)

pytestmark = pytest.mark.django_db

PASSWORD = "a long one, and odd: 7/3"
KEEPERS, CLUTCHES = "/moderation/keepers/keeper/", "/moderation/clutches/clutch/"


@pytest.fixture
def moderator(settings: Any) -> Client:
    settings.BROODCOUNT_ADMIN = True
    client = Client()
    made = Moderator(handle="warden")
    made.set_password(PASSWORD)
    made.save()
    client.force_login(made)
    return client


def text_of(answer: Any) -> str:
    return unescape(answer.content.decode())


# --- what is not shown can't be asked for -------------------------------------------------------


def test_lists__filter_by_no_column_that_they_do_not_show(moderator):
    gecko()
    keeper = joined()
    keeper.post("clutches/", clutch(parent("het ashwater", "m-1"), clutch_code="private"))
    own = Keeper.objects.get(pk=keeper.keeper)
    for page, asked in (
        (KEEPERS, {"recovery_sha256__startswith": own.recovery_sha256[0]}),
        (KEEPERS, {"recovery_sha256": own.recovery_sha256}),
        (KEEPERS, {"tokens__sha256__startswith": "a"}),
        (KEEPERS, {"tokens__label__contains": "a"}),
        (KEEPERS, {"animals__label__contains": "m"}),
        (CLUTCHES, {"clutch_code__startswith": "p"}),
        (CLUTCHES, {"sire_stated__icontains": "m-1"}),
        (CLUTCHES, {"sire__label": "m-1"}),
        (CLUTCHES, {"twin__gte": "0"}),
        (CLUTCHES, {"keeper__recovery_sha256__startswith": "a"}),
        ("/moderation/moderation/auditentry/", {"reason__regex": "^a"}),
    ):
        assert moderator.get(page, asked).status_code == 400, asked


@pytest.mark.parametrize(
    ("page", "asked"),
    [
        (KEEPERS, {"is_held__exact": "1"}),
        ("/moderation/clutches/likelyduplicate/", {"state__exact": "likely"}),
        ("/moderation/clutches/likelyduplicate/", {"reason__exact": "code"}),
        ("/moderation/moderation/auditentry/", {"act__exact": "hold"}),
        ("/moderation/moderation/auditentry/", {"moderator": "warden"}),
    ],
)
def test_lists__filter_by_what_stands_beside_them(moderator, page, asked):
    assert moderator.get(page, asked).status_code == 200


def test_keepers__are_found_by_the_whole_id_only(moderator):
    first, second = joined(), joined()
    found = moderator.get(KEEPERS, {"q": first.keeper}).content.decode()
    assert first.keeper in found
    assert second.keeper not in found
    part = moderator.get(KEEPERS, {"q": str(first.keeper)[:8]}).content.decode()
    assert first.keeper not in part


def test_every_page__is_of_the_kind_that_changes_nothing():
    assert site._registry
    for one in site._registry.values():
        shown = {str(name) for name in (*one.list_display, *(one.fields or ()))}
        assert not shown & {
            "recovery_sha256",
            "clutch_code",
            "sire",
            "dam",
            "sire_stated",
            "dam_stated",
            "twin",
        }
        assert not one.has_add_permission(None)
        assert not one.has_change_permission(None)
        assert not one.has_delete_permission(None)
        assert not one.lookup_allowed("pk__in", "x")


# --- sign-in and forgery ------------------------------------------------------------------------


@pytest.mark.parametrize("path", ["", "login/", "logout/", "password_change/", "keepers/keeper/"])
def test_closed__is_404_for_forms_from_elsewhere_as_well(settings, path):
    settings.BROODCOUNT_ADMIN = False
    strict = Client(enforce_csrf_checks=True)
    assert strict.post(f"/moderation/{path}").status_code == 404
    assert strict.get(f"/moderation/{path}").status_code == 404


def test_forged_forms__are_refused(settings):
    settings.BROODCOUNT_ADMIN = True
    keeper, warden = joined(), Moderator(handle="warden")
    warden.set_password(PASSWORD)
    warden.save()
    strict = Client(enforce_csrf_checks=True)
    signing_in = {"username": "warden", "password": PASSWORD}
    assert strict.post("/moderation/login/", signing_in).status_code == 403
    strict.get("/moderation/login/")
    token = strict.cookies["csrftoken"].value
    signed_in = strict.post("/moderation/login/", {**signing_in, "csrfmiddlewaretoken": token})
    assert signed_in.status_code == 302
    given = {
        "action": "hold",
        "_selected_action": keeper.keeper,
        "confirmed": "yes",
        "reason": "A page elsewhere asked for it.",
    }
    assert strict.post(KEEPERS, given).status_code == 403
    assert not Keeper.objects.filter(is_held=True).exists()
    token = strict.cookies["csrftoken"].value
    assert strict.post(KEEPERS, {**given, "csrfmiddlewaretoken": token}).status_code == 302
    assert Keeper.objects.filter(is_held=True).count() == 1


def test_cookies__go_to_the_pages_alone(settings):
    settings.BROODCOUNT_ADMIN = True
    settings.SESSION_COOKIE_SECURE = settings.CSRF_COOKIE_SECURE = True
    warden = Moderator(handle="warden")
    warden.set_password(PASSWORD)
    warden.save()
    client = Client()
    client.get("/moderation/login/")
    client.post("/moderation/login/", {"username": "warden", "password": PASSWORD})
    for name in ("sessionid", "csrftoken"):
        cookie = client.cookies[name]
        assert cookie["path"] == ("/moderation/" if name == "sessionid" else "/")
        assert (cookie["secure"], cookie["httponly"], cookie["samesite"]) == (True, True, "Strict")
    assert used.REST_FRAMEWORK["UNAUTHENTICATED_USER"] is None


def test_session__costs_the_interface_no_statement(moderator):
    gecko()
    keeper = joined()
    for path in ("species/", "keepers/me/", "clutches/"):
        plain = counted(keeper, "get", path)
        keeper.client, own = moderator, keeper.client
        assert counted(keeper, "get", path) == plain
        keeper.client = own


def test_password__is_changed_on_a_page_and_ends_other_sessions(moderator):
    other = Client()
    assert other.login(handle="warden", username="warden", password=PASSWORD)
    new = "another long one, and odd: 9/4"
    given = {"old_password": PASSWORD, "new_password1": new, "new_password2": new}
    weak = {"old_password": PASSWORD, "new_password1": "short", "new_password2": "short"}
    assert moderator.post("/moderation/password_change/", weak).status_code == 200
    assert moderator.post("/moderation/password_change/", given).status_code == 302
    assert Moderator.objects.get().check_password(new)
    assert moderator.get("/moderation/").status_code == 200
    assert other.get("/moderation/").status_code == 302


@pytest.mark.parametrize("page", [KEEPERS, CLUTCHES])
def test_lists__do_not_grow_in_statements(moderator, page):
    gecko()
    joined().post("clutches/", clutch())
    found = []
    for n_more in (0, 3):
        for _ in range(n_more):
            joined().post("clutches/", clutch())
        with CaptureQueriesContext(connection) as captured:
            assert moderator.get(page).status_code == 200
        found.append(len(statements(captured)))
    assert found[0] == found[1]
    assert Clutch.objects.count() == 4


# --- what a moderator judges by ------------------------------------------------------------------


def test_clutch__is_told_by_genes_and_counts_and_as_it_was_read(moderator):
    gecko()
    keeper = joined()
    body = clutch(
        parent("het ashwater, 66% het reed", "secret-sire"),
        "ashwater",
        [
            group("ASHWATER", 3, basis="secret-basis"),
            group("normal", 2, "ashwater"),
            group("reed", 1),
        ],
        eggs={"laid": 9, "infertile": 1},
        clutch_code="secret-code",
    )
    made = keeper.post("clutches/", body)
    own = keeper.get(f"clutches/{made['id']}/")
    page = text_of(moderator.get(f"{CLUTCHES}{made['id']}/change/"))
    parents = f"{own['sire']['genes']} x {own['dam']['genes']}"
    assert (
        f"2025: {parents}; eggs: 9 laid, 1 infertile; 3 Ashwater, 2 Normal or Ashwater, 1 " in page
    )
    assert GECKO in page
    assert "(its parents can not give it)" in page
    assert "secret-" not in page
    assert "ASHWATER" not in page


def test_pair__is_shown_with_both_reports(moderator):
    gecko()
    for hatched in (5, 4):
        hatchlings = {"normal": 7, "reed": hatched}
        body = clutch("het reed", "reed", hatchlings, eggs={"laid": 14}, clutch_code="secret-code")
        joined().post("clutches/", body)
    pair = LikelyDuplicate.objects.get()
    page = text_of(moderator.get(f"/moderation/clutches/likelyduplicate/{pair.pk}/change/"))
    for reading in ("5 Pale Reed", "4 Pale Reed"):
        assert f"eggs: 14 laid; 7 Normal, {reading}" in page
    assert "secret-" not in page


def test_keeper__is_shown_with_probation_and_holds(moderator, settings):
    settings.BROODCOUNT_KEEPER_PROBATION_DAYS = 14
    settings.BROODCOUNT_KEEPER_PROBATION_CLUTCHES = 1
    gecko()
    keeper, warden = joined(), Moderator.objects.get()
    pk = Keeper.objects.get(pk=keeper.keeper).pk
    keeper.post("clutches/", clutch())
    path = f"{KEEPERS}{keeper.keeper}/change/"

    def counts_towards_flags() -> bool:
        found = re.search(r"Counts towards flags:.*?alt=.(True|False)", page_of(path), re.DOTALL)
        assert found
        return found[1] == "True"

    def page_of(path: str) -> str:
        return str(moderator.get(path).content.decode())

    assert not counts_towards_flags()
    Keeper.objects.update(joined_at=timezone.now() - timedelta(days=15))
    assert counts_towards_flags()
    settings.BROODCOUNT_KEEPER_PROBATION_CLUTCHES = 2
    assert not counts_towards_flags()
    settings.BROODCOUNT_KEEPER_PROBATION_DAYS = 0
    assert counts_towards_flags()
    hold(warden, pk, "Counts that can not be.")
    day = today().isoformat()
    assert f"{day} to now: Counts that can not be." in page_of(path)
    release(warden, pk, "They were right.")
    hold(warden, pk, "Once more.")
    assert f"{day} to {day}: Counts that can not be.; {day} to now: Once more." in page_of(path)


def test_entries__are_found_by_the_id_that_they_do_not_hold(moderator):
    keepers, warden = [joined(), joined()], Moderator.objects.get()
    for n, one in enumerate(keepers):
        hold(warden, Keeper.objects.get(pk=one.keeper).pk, f"Reason number {n}.")
    path = "/moderation/moderation/auditentry/"
    spellings = (str(keepers[1].keeper), f" {str(keepers[1].keeper).upper()} ")
    for asked in (*spellings, AuditEntry.objects.order_by("pk")[1].about):
        page = text_of(moderator.get(path, {"q": asked}))
        assert "Reason number 1." in page
        assert "Reason number 0." not in page
        assert moderator.get(path, {"q": "nobody"}).status_code == 200


def test_act__on_more_than_one_reason_is_for_is_not_done(moderator, monkeypatch):
    monkeypatch.setattr("registry.moderation.admin.MOST_AT_ONCE", 2)
    keepers = [joined().keeper for _ in range(3)]
    given = {"action": "hold", "confirmed": "yes", "reason": "All of them."}
    page = moderator.post(KEEPERS, {**given, "_selected_action": keepers}, follow=True)
    assert "3 are chosen; one reason is for 2 at most. Nothing was done." in text_of(page)
    assert not Keeper.objects.filter(is_held=True).exists()
    moderator.post(KEEPERS, {**given, "_selected_action": keepers[:2]}, follow=True)
    assert Keeper.objects.filter(is_held=True).count() == 2
    assert AuditEntry.objects.count() == 2


# --- signing in -----------------------------------------------------------------------------------


def test_sign_in__is_tried_a_few_times_a_day_only(settings):
    settings.BROODCOUNT_ADMIN = settings.BROODCOUNT_RATE_LIMITS = True
    settings.BROODCOUNT_DAILY_SIGN_INS = 2
    warden = Moderator(handle="warden")
    warden.set_password(PASSWORD)
    warden.save()
    wrong = {"username": "warden", "password": "a guess"}
    right = {"username": "warden", "password": PASSWORD}
    answers = [Client().post("/moderation/login/", given) for given in (wrong, wrong, right)]
    assert [one.status_code for one in answers] == [200, 200, 429]
    assert answers[2].headers["Content-Type"] == PROBLEM
    assert int(answers[2].headers["Retry-After"]) > 0
    assert "2 attempts to sign in from one address" in answers[2].json()["detail"]
    other = Client().post("/moderation/login/", right, REMOTE_ADDR="192.0.2.7")
    assert other.status_code == 302


def test_sign_in__leaves_no_time(settings):
    settings.BROODCOUNT_ADMIN = True
    warden = Moderator(handle="warden")
    warden.set_password(PASSWORD)
    warden.save()
    before = Moderator.objects.values().get()
    signed_in = Client().post("/moderation/login/", {"username": "warden", "password": PASSWORD})
    assert signed_in.status_code == 302
    assert Moderator.objects.values().get() == before
    assert set(before) == {"id", "handle", "password", "is_active"}
