"""Health and metrics over the whole service, in process."""

from __future__ import annotations

import pytest
from django.db import OperationalError, connection
from django.test import Client

from registry.catalogue.models import Species
from registry.operation import health, metrics
from tests.factories.registry import API, GECKO, clutch, gecko, joined, openapi

LIVE, READY, METRICS = "/health/live", "/health/ready", "/metrics"


def without_database(*_args, **_kwargs):
    raise OperationalError("no server")


def test_live__needs_no_database_name_or_scheme(settings):
    # No mark django_db: a query would fail the test.
    settings.SECURE_SSL_REDIRECT = True
    answer = Client().get(LIVE, headers={"Host": "10.2.3.4:8000"})
    assert (answer.status_code, answer.json()) == (200, {"status": "live"})
    assert answer.headers["Cache-Control"] == "no-store"
    assert Client().head(LIVE).status_code == 200


@pytest.mark.parametrize("path", [LIVE, READY, METRICS])
@pytest.mark.parametrize("method", ["post", "delete", "options"])
def test_operation__is_only_read(path, method):
    answer = getattr(Client(), method)(path)
    assert answer.status_code == 405
    assert answer.headers["Allow"] == "GET, HEAD"
    assert answer.json()["code"] == "method-not-allowed"


def test_operation__is_no_part_of_the_interface():
    assert not [path for path in openapi()["paths"] if "health" in path or "metrics" in path]


@pytest.mark.django_db
def test_ready__when_database_tables_and_catalogue_are_there(settings):
    settings.SECURE_SSL_REDIRECT = True
    gecko()
    answer = Client().get(READY, headers={"Host": "10.2.3.4"})
    assert (answer.status_code, answer.json()) == (200, {"status": "ready"})


@pytest.mark.django_db
def test_ready__names_a_missing_catalogue():
    gecko()
    Species.objects.update(current=None)
    answer = Client().get(READY)
    assert answer.status_code == 503
    assert answer.json()["missing"] == ["catalogue"]
    assert answer.headers["Content-Type"] == "application/problem+json"


@pytest.mark.django_db
def test_ready__names_missing_migrations():
    gecko()
    with connection.cursor() as cursor:
        cursor.execute("DELETE FROM django_migrations WHERE app = 'clutches'")
    assert Client().get(READY).json()["missing"] == ["migrations"]


@pytest.mark.django_db
def test_ready__a_later_version_of_the_tables_is_no_fault():
    """Migrations that only the next version knows: it is being rolled out."""
    gecko()
    with connection.cursor() as cursor:
        cursor.execute("INSERT INTO django_migrations (app, name, applied) VALUES ('x','y',now())")
    assert Client().get(READY).status_code == 200


def test_ready__says_that_the_database_does_not_answer(monkeypatch):
    monkeypatch.setattr(health.transaction, "atomic", without_database)
    monkeypatch.setattr(health.connection, "close", lambda: None)
    answer = Client().get(READY)
    assert answer.status_code == 503
    assert answer.json()["missing"] == ["database"]
    assert "no server" not in answer.content.decode()


# --- metrics ----------------------------------------------------------------------------------


def lines(answer) -> dict[str, str]:
    """Value by series."""
    text = answer.content.decode()
    return dict(one.rsplit(" ", 1) for one in text.splitlines() if not one.startswith("#"))


@pytest.fixture
def shown(settings):
    settings.BROODCOUNT_METRICS = True
    return settings


def test_metrics__are_nowhere_when_off(settings):
    settings.BROODCOUNT_METRICS = False
    answer = Client().get(METRICS)
    assert (answer.status_code, answer.json()["code"]) == (404, "not-found")


@pytest.mark.django_db
def test_metrics__count_the_registry_and_name_nobody(shown):
    gecko()
    keeper = joined()
    body = clutch()
    made = keeper.post("clutches/", body)
    answer = Client().get(METRICS)
    assert answer.status_code == 200
    found = lines(answer)
    assert found["broodcount_database_up"] == "1.0"
    assert found['broodcount_clutches{source="keepers"}'] == "1.0"
    assert found['broodcount_clutches{source="published"}'] == "0.0"
    assert found["broodcount_keepers"] == "1.0"
    # A report marks its combinations; the first reader of a list computes them.
    assert float(found["broodcount_targets_stale"]) > 0
    keeper.get("combinations/", species=GECKO)
    assert lines(Client().get(METRICS))["broodcount_targets_stale"] == "0.0"
    assert found['broodcount_targets_flagged{source="keepers"}'] == "0.0"
    text = answer.content.decode()
    secrets = (keeper.token, keeper.keeper, made["id"], body["sire"].get("animal"))
    assert [one for one in secrets if one and one in text] == []


@pytest.mark.parametrize(
    ("sent", "status"),
    [
        ({}, 200),
        ({"REMOTE_ADDR": "::1"}, 200),
        ({"REMOTE_ADDR": "203.0.113.9"}, 404),
        ({"REMOTE_ADDR": ""}, 404),
        ({"HTTP_X_FORWARDED_FOR": "127.0.0.1"}, 404),
        ({"HTTP_FORWARDED": "for=127.0.0.1"}, 404),
    ],
)
@pytest.mark.django_db
def test_metrics__without_a_token_are_for_this_machine(shown, sent, status):
    shown.BROODCOUNT_METRICS_TOKEN = None
    assert Client().get(METRICS, **sent).status_code == status


@pytest.mark.parametrize(
    ("header", "status"),
    [
        ("Bearer scraper-scraper-scraper", 200),
        ("Bearer scraper-scraper-scrapes", 404),
        ("scraper-scraper-scraper", 404),
        ("Bearer ä", 404),
        (None, 404),
    ],
)
@pytest.mark.django_db
def test_metrics__with_a_token_are_for_who_sends_it(shown, header, status):
    shown.BROODCOUNT_METRICS_TOKEN = "scraper-scraper-scraper"
    sent = {"HTTP_AUTHORIZATION": header} if header else {}
    assert Client().get(METRICS, REMOTE_ADDR="203.0.113.9", **sent).status_code == status


def test_metrics__say_that_the_database_is_down(shown, monkeypatch):
    monkeypatch.setattr(metrics.transaction, "atomic", without_database)
    monkeypatch.setattr(metrics.connection, "close", lambda: None)
    found = lines(Client().get(METRICS))
    assert found["broodcount_database_up"] == "0.0"
    assert "broodcount_keepers" not in found


@pytest.mark.django_db
def test_metrics__cost_a_fixed_number_of_statements(shown, django_assert_num_queries):
    gecko()
    # A limit of time, clutches, keepers, stale, flagged of keepers and of publications; the
    # transaction of the test makes it a savepoint, which is two more.
    with django_assert_num_queries(8):
        list(metrics.RegistryCollector().collect())


def test_paths__of_the_interface_are_untouched():
    assert Client().get(API + "health/live").status_code == 404
    assert Client().get("/health/").status_code == 404
