"""HEAD is answered as GET is, without a body, before the server has to drop one."""

from __future__ import annotations

import pytest
from django.http import HttpResponse, StreamingHttpResponse
from django.test import RequestFactory

from registry.api.head import HeadMiddleware
from tests.factories.registry import gecko, joined

pytestmark = pytest.mark.django_db


def answered(response, method="head"):
    request = getattr(RequestFactory(), method)("/")
    return HeadMiddleware(lambda _request: response)(request)


def test_head__keeps_the_length_and_drops_the_body():
    found = answered(HttpResponse(b"four", headers={"X-Kept": "yes"}))
    assert found.content == b""
    assert (found.headers["Content-Length"], found.headers["X-Kept"]) == ("4", "yes")
    stated = answered(HttpResponse(b"four", headers={"Content-Length": "4"}))
    assert stated.headers["Content-Length"] == "4"


def test_head__sends_nothing_of_a_stream_and_closes_it():
    closed = []
    stream = StreamingHttpResponse(iter([b"a", b"b"]))
    stream._resource_closers.append(lambda: closed.append(1))
    found = answered(stream)
    assert b"".join(found.streaming_content) == b""
    found.close()
    assert closed == [1]


def test_get__is_left_alone():
    assert answered(HttpResponse(b"four"), "get").content == b"four"


@pytest.mark.parametrize("path", ["/", "/watch/", "/api/v1/species/", "/api/v1/keepers/me/export/"])
def test_head__tells_what_get_does(path):
    gecko()
    api = joined()
    sent = {"Authorization": f"Bearer {api.token}"} if path.startswith("/api/") else {}
    got = api.client.get(path, headers=sent)
    assert got.getvalue()
    head = api.client.head(path, headers=sent)
    assert head.getvalue() == b""
    assert head.status_code == got.status_code == 200
    for name in ("Content-Type", "Content-Length", "ETag"):
        assert head.headers.get(name) == got.headers.get(name)
