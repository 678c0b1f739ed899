"""No token in a log, wherever a caller put it."""

from __future__ import annotations

import io
import logging
from collections.abc import Iterator
from typing import Any

import pytest
from django.conf import settings
from gunicorn.config import Config

from registry.api.scrubbing import SecretsFilter, scrubbed
from registry.keepers import services
from registry.server.private_log import PrivateLogger
from tests.factories.registry import API, Api, joined

ADDRESS = "203.0.113.77"
"""Of a caller; a range for examples (RFC 5737)."""


@pytest.fixture
def log() -> Iterator[io.StringIO]:
    """What the service's own handler writes, every level of it."""
    text = io.StringIO()
    (handler,) = [
        one
        for one in logging.getLogger().handlers
        if any(isinstance(part, SecretsFilter) for part in one.filters)
    ]
    assert isinstance(handler, logging.StreamHandler)
    level = logging.getLogger().level
    logging.getLogger().setLevel(logging.DEBUG)
    # Refusals are not logged otherwise.
    refusals = logging.getLogger("django.request")
    level_of_refusals = refusals.level
    refusals.setLevel(logging.DEBUG)
    former = handler.setStream(text)
    yield text
    handler.setStream(former)
    logging.getLogger().setLevel(level)
    refusals.setLevel(level_of_refusals)


def test_every_handler__has_the_filter():
    assert settings.LOGGING["handlers"]
    assert all("secrets" in one["filters"] for one in settings.LOGGING["handlers"].values())


@pytest.mark.django_db
def test_log__of_refused_calls_has_no_token_and_no_address(log):
    keeper = joined()
    code = keeper.recovery_code
    wrong = Api("bck_" + "W" * 43)
    for caller in (keeper, wrong, Api()):
        caller.client.defaults["REMOTE_ADDR"] = ADDRESS
        caller.client.defaults["HTTP_X_FORWARDED_FOR"] = ADDRESS
        secrets = [one for one in (caller.token, keeper.token, code) if one]
        for secret in secrets:
            for path in (f"{secret}/", f"keepers/me/tokens/{secret}/", f"{API}?token={secret}"):
                caller.send("get", path)
            caller.send("post", "keepers/recoveries/", {"recovery_code": f"{secret}x"})
            caller.send("post", "notation/", {"species": secret, "text": secret, secret: 1})
            caller.send("post", "notation/", content=secret.encode(), content_type="text/plain")
            caller.send("get", "keepers/me/", headers={"Authorization": f"Basic {secret}"})
            caller.send("get", "keepers/me/", headers={"Host": secret})
    text = log.getvalue()
    assert text.count("Not Found: (no such call)") >= 3
    for secret in (keeper.token, wrong.token, code, ADDRESS):
        assert secret
        assert secret[4:] not in text


@pytest.mark.django_db
def test_log__of_a_fault_of_ours_has_no_token(log, monkeypatch):
    keeper = joined()

    def fail(token: str) -> Any:
        raise RuntimeError(f"could not look up {token}")

    monkeypatch.setattr("registry.keepers.authentication.token_use", fail)
    assert services.token_use is not fail
    assert keeper.refused("get", "keepers/me/")["code"] == "server-error"
    text = log.getvalue()
    assert "RuntimeError: could not look up bck_..." in text
    assert keeper.token not in text


@pytest.mark.parametrize(
    ("text", "clean"),
    [
        ("bck_" + "aB3-_" * 9, "bck_..."),
        ("x/bcr_abcdefg/y", "x/bcr_.../y"),
        ("a%20bck%5Fabcdefgh", "a%20bck%5F..."),
        ("key=Bck_ABCDEFGH;", "key=Bck_...;"),
        ("no secret: bck_, bcr_x, abck", "no secret: bck_, bcr_x, abck"),
    ],
)
def test_scrubbed__cuts_secrets_down_to_their_prefix(text, clean):
    assert scrubbed(text) == clean


def test_web_server__logs_no_token_no_address_and_no_calls(capsys):
    config = Config()
    config.set("loglevel", "warning")
    logger = PrivateLogger(config)
    secret = "bck_" + "Q" * 43
    logger.warning("Invalid request from ip=%s: Invalid header: %s", ADDRESS, secret)
    logger.warning("Invalid request from ip=%s: bad %s", "2001:db8::7", secret)
    fault = ValueError(f"header {secret}")
    logger.error("Error handling request /api/v1/?token=%s", secret, exc_info=fault)
    lines = capsys.readouterr().err
    logger.error_log.handlers.clear()
    assert lines.count("from ip=...: ") == 2
    assert lines.count("bck_...") == 4
    assert ADDRESS not in lines
    assert "2001:db8" not in lines
    assert secret not in lines
    assert config.accesslog is None
