"""Uploads over a connection that is cut: while they are sent, and while they are answered."""

from __future__ import annotations

import json
import socket
import time
from urllib.parse import urlsplit

import pytest

from registry.clutches.models import Clutch
from tests.factories.registry import Api, clutch, gecko, joined, stored

pytestmark = pytest.mark.django_db(transaction=True)

N_LINES = 300
LINES = "".join(json.dumps(clutch(clutch_code=str(n))) + "\n" for n in range(N_LINES)).encode()


@pytest.fixture
def keeper() -> Api:
    gecko()
    return joined()


def begun(live_server, keeper: Api, *, n_stated: int) -> socket.socket:
    """A connection on which the head of an upload was sent."""
    address = urlsplit(live_server.url)
    connection = socket.create_connection((address.hostname, address.port), timeout=60)
    head = (
        f"POST /api/v1/clutches/bulk/ HTTP/1.1\r\nHost: {address.netloc}\r\n"
        f"Authorization: Bearer {keeper.token}\r\nContent-Type: application/jsonl\r\n"
        f"Content-Length: {n_stated}\r\n\r\n"
    )
    connection.sendall(head.encode())
    return connection


def settled() -> int:
    """The number of clutches once it does not grow any more."""
    before, deadline = -1, time.monotonic() + 30
    while (now := Clutch.objects.count()) != before:
        assert time.monotonic() < deadline
        before = now
        time.sleep(0.5)
    return now


def test_bulk__keeps_what_was_answered_when_the_connection_is_cut(live_server, keeper):
    with begun(live_server, keeper, n_stated=len(LINES)) as connection:
        connection.sendall(LINES)
        with connection.makefile("rb") as answers:
            while answers.readline().strip():
                pass
            read = [json.loads(answers.readline()) for _ in range(5)]
    assert [one["status"] for one in read] == [201] * 5
    assert 5 <= settled() < N_LINES
    kept = {str(one) for one in Clutch.objects.values_list("pk", flat=True)}
    assert {one["clutch"] for one in read} <= kept
    # What was stored is a beginning of the upload, without a gap.
    codes = sorted(int(one) for one in Clutch.objects.values_list("clutch_code", flat=True))
    assert codes == list(range(len(codes)))


def test_bulk__stores_nothing_of_an_upload_that_was_cut_off(live_server, keeper):
    before = stored()
    with begun(live_server, keeper, n_stated=len(LINES)) as connection:
        connection.sendall(LINES[: len(LINES) // 2])
        connection.shutdown(socket.SHUT_WR)
        answer = b"".join(iter(lambda: connection.recv(65536), b""))
    assert b" 400 " in answer.splitlines()[0]
    assert f"ended after {len(LINES) // 2} bytes, expected {len(LINES)}".encode() in answer
    assert stored() == before


def test_bulk__serves_a_client_that_sends_everything_before_it_reads(live_server, keeper):
    with begun(live_server, keeper, n_stated=len(LINES)) as connection:
        connection.sendall(LINES)
        time.sleep(1)
        answer = b"".join(iter(lambda: connection.recv(65536), b""))
    summary = json.loads(answer.splitlines()[-1])["summary"]
    assert summary == {"lines": N_LINES, "accepted": N_LINES, "refused": 0}
    assert Clutch.objects.count() == N_LINES
