"""The Authorization header, over HTTP."""

from __future__ import annotations

import pytest
from django.test import Client

pytestmark = pytest.mark.urls("tests.registry.api.calls")


def test_bearer_authentication__knows_a_token() -> None:
    response = Client().get("/api/v1/kept/", headers={"authorization": "bearer good"})
    assert response.json() == {"who": "somebody"}


@pytest.mark.parametrize(
    ("header", "text"),
    [
        ("Bearer bad", "The token belongs to no keeper."),
        ("Basic good", "The Authorization header can not be read; expected 'Bearer <token>'."),
        ("Bearer", "The Authorization header can not be read; expected 'Bearer <token>'."),
        ("Bearer a b", "The Authorization header can not be read; expected 'Bearer <token>'."),
        ("Bearer \xe4", "The token has characters that no token has."),
    ],
)
def test_bearer_authentication__tells_what_is_wrong(header: str, text: str) -> None:
    response = Client().get("/api/v1/kept/", headers={"authorization": header})
    assert response.status_code == 401
    assert response.json()["code"] == "unknown-token"
    assert response.json()["detail"] == text
    assert response.headers["WWW-Authenticate"] == 'Bearer error="invalid_token"'


def test_bearer_authentication__asks_for_a_token_where_there_is_none() -> None:
    response = Client().get("/api/v1/kept/")
    assert response.status_code == 401
    assert response.json()["code"] == "not-authenticated"
    assert response.headers["WWW-Authenticate"] == "Bearer"
