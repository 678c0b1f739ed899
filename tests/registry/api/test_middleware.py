"""What holds under every address: readable text, bounded bodies, errors as problems."""

from __future__ import annotations

import json
from io import BytesIO
from typing import Any

import pytest
from django.conf import settings
from django.core.handlers.wsgi import WSGIHandler
from django.test import Client, RequestFactory

from registry.api.problems import MEDIA_TYPE

pytestmark = pytest.mark.urls("tests.registry.api.calls")

LIMIT = 2_621_440  # DATA_UPLOAD_MAX_MEMORY_SIZE of Django


@pytest.fixture(autouse=True)
def _limit(settings: Any) -> None:
    settings.DATA_UPLOAD_MAX_MEMORY_SIZE = LIMIT


def problem(response: Any, status: int, code: str) -> dict[str, Any]:
    assert response.headers["Content-Type"] == MEDIA_TYPE
    read: dict[str, Any] = json.loads(response.content)
    assert (response.status_code, read["status"], read["code"]) == (status, status, code)
    return read


def text_body(n_bytes: int) -> bytes:
    frame = len(b'{"text": ""}')
    return b'{"text": "%s"}' % (b"a" * (n_bytes - frame))


@pytest.mark.parametrize("address", ["/api/v1/eggs/%00", "/no%00where", "/api/v1/raise/a%00b/"])
def test_middleware__refuses_nul_in_the_path(address: str) -> None:
    read = problem(Client().get(address), 400, "unreadable-characters")
    assert read["detail"] == "The path holds a NUL character."
    assert "%00" in read["instance"]


@pytest.mark.parametrize(
    ("query", "name", "text"),
    [
        ("box=%00", "box", "The text holds a NUL character."),
        ("a%00=1", "a\x00", "The text holds a NUL character."),
        ("box=1&note=%C3%28", "note", "The text is not UTF-8: byte 1 begins no character."),
        ("%FF=1", "\ufffd", "The text is not UTF-8: byte 1 begins no character."),
    ],
)
def test_middleware__refuses_what_is_no_text_in_the_query(query: str, name: str, text: str) -> None:
    read = problem(Client().get(f"/api/v1/eggs/?{query}"), 400, "unreadable-characters")
    assert read["errors"] == [{"parameter": name, "code": "unreadable-characters", "detail": text}]


def test_middleware__lets_other_scripts_through() -> None:
    read = problem(Client().get("/api/v1/boxes/?%E8%9B%87=1"), 400, "unknown-parameter")
    assert read["errors"][0]["parameter"] == "蛇"


def test_middleware__refuses_a_body_above_the_limit() -> None:
    client = Client()
    response = client.post("/api/v1/reports/", text_body(5_000_000), "application/json")
    read = problem(response, 413, "body-too-large")
    assert read["detail"] == "The body has more than the 2621440 bytes that are read."
    assert read["limit"] == LIMIT
    at_limit = client.post("/api/v1/reports/", text_body(LIMIT), "application/json")
    assert at_limit.status_code == 400


def test_middleware__follows_the_limit_of_the_view() -> None:
    client = Client()
    taken = client.post("/api/v1/large/", text_body(4_000_000), "application/json")
    assert taken.json() == {"n": 4_000_000 - 12}
    refused = client.post("/api/v1/large/", text_body(4_000_001), "application/json")
    assert problem(refused, 413, "body-too-large")["limit"] == 4_000_000


def chunked(body: bytes, address: str) -> tuple[str, dict[str, Any]]:
    """Answer to a body without a length, as a server that joins chunks hands it on."""
    environ = RequestFactory().post(address, b"", content_type="application/json").META.copy()
    environ.pop("CONTENT_LENGTH", None)
    environ |= {
        "CONTENT_TYPE": "application/json",
        "HTTP_TRANSFER_ENCODING": "chunked",
        "wsgi.input": BytesIO(body),
        "wsgi.input_terminated": True,
    }
    said: list[str] = []

    def start(status: str, *_rest: Any) -> Any:
        said.append(status)

    answer = WSGIHandler()(environ, start)
    read: dict[str, Any] = json.loads(b"".join(answer))
    answer.close()
    return said[0], read


@pytest.mark.usefixtures("_no_signals")
def test_middleware__reads_a_chunked_body_up_to_the_limit() -> None:
    status, read = chunked(text_body(1000), "/api/v1/large/")
    assert (status, read) == ("200 OK", {"n": 988})
    status, read = chunked(text_body(4_000_001), "/api/v1/large/")
    assert status.startswith("413")
    assert read["code"] == "body-too-large"


@pytest.fixture
def _no_signals(monkeypatch: pytest.MonkeyPatch) -> None:
    """No closing of connections: the test runs inside no request of the test client."""
    from django.core import signals  # noqa: PLC0415

    for one in (signals.request_started, signals.request_finished):
        monkeypatch.setattr(one, "send", lambda *_args, **_kwargs: [])


def test_middleware__turns_a_plain_error_into_a_problem_and_keeps_headers() -> None:
    response = Client().get("/api/v1/plain-error/")
    read = problem(response, 409, "bad-request")
    assert read["detail"] == "Busy with another."
    assert response.headers["X-Kept"] == "yes"


def test_middleware__leaves_nothing_of_the_replaced_body() -> None:
    response = Client().get("/django/teapot/")
    problem(response, 418, "bad-request")
    assert "ETag" not in response.headers


def test_middleware__answers_an_unknown_host() -> None:
    response = Client().get("/django/host/", headers={"host": "elsewhere.example"})
    problem(response, 400, "bad-request")


def test_middleware__answers_too_many_fields() -> None:
    most = settings.DATA_UPLOAD_MAX_NUMBER_FIELDS
    body = "&".join(f"a{i}=1" for i in range(most + 1))
    form = "application/x-www-form-urlencoded"
    problem(Client().post("/django/form/", body, content_type=form), 400, "bad-request")
    problem(Client().get(f"/api/v1/eggs/?{body}"), 400, "bad-request")
