"""Creates over a bad network, to real workers that are killed: none twice, none lost.

Eight clients send each create one to five times with one key. A connection is cut before the
request is whole, while it is worked on, or after the answer began; meanwhile workers are killed
with SIGKILL. Afterwards the database is asked how often each create is there.
"""

from __future__ import annotations

import json
import os
import random
import signal
import socket
import threading
import time
import uuid
from collections import Counter
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final

import psycopg
import pytest

from tests.factories.registry import API, GECKO, clutch, group, parent
from tests.factories.service import Served, address_of, own_database, served

pytestmark = pytest.mark.skipif(
    not Path("/proc/self/cwd").exists(), reason="finds the workers in /proc"
)

N_CLIENTS: Final = 8
CUTS: Final = ("before", "in", "after")
BROKEN: Final = (OSError, EOFError, ValueError)


@dataclass
class Create:
    """One create: where, what, its key, whose; the bodies that acknowledged it."""

    path: str
    body: Any
    marker: str
    headers: dict[str, str]
    acknowledged: list[bytes] = field(default_factory=list)

    def request(self, port: int) -> bytes:
        """The bytes on the wire."""
        content = json.dumps(self.body).encode()
        lines = [
            f"POST {API}{self.path} HTTP/1.1",
            f"Host: localhost:{port}",
            "Content-Type: application/json",
            f"Content-Length: {len(content)}",
            "Connection: close",
            *(f"{name}: {text}" for name, text in self.headers.items()),
        ]
        return "\r\n".join(lines).encode() + b"\r\n\r\n" + content


def creates(n: int, tokens: list[str]) -> list[Create]:
    """Clutches, pairings and new keepers, each to be told from all others."""
    made = []
    for number in range(n):
        marker = uuid.uuid4().hex
        headers = {
            "Idempotency-Key": f'"{uuid.uuid4()}"',
            "Authorization": f"Bearer {tokens[number % len(tokens)]}",
        }
        if number % 10 == 8:
            path, body = (
                "pairings/",
                {
                    "species": GECKO,
                    "season": 2025,
                    "sire": parent("reed", marker),
                    "dam": parent("reed"),
                },
            )
        elif number % 10 == 9:
            path, body = "keepers/", {}
            del headers["Authorization"]
        else:
            path, body = "clutches/", clutch(hatchlings=[group("normal", 5, basis=marker)])
        made.append(Create(path, body, marker, headers))
    return made


class Network:
    """Sends creates to a service, whole or cut; counts what happened."""

    def __init__(self, service: Served) -> None:
        self.service = service
        self.seen: Counter[str] = Counter()
        self.wrong: list[str] = []

    def cut(self, one: Create, where: str, chosen: random.Random) -> None:
        """Send a create and let the connection break; its answer is not seen."""
        self.seen[f"cut {where}"] += 1
        request = one.request(self.service.port)
        with suppress(OSError), self._connection() as connection:
            if where == "before":
                connection.sendall(request[: chosen.randrange(1, len(request))])
                return
            connection.sendall(request)
            if where == "in":
                time.sleep(chosen.uniform(0, 0.03))
                return
            connection.recv(chosen.randrange(1, 40))

    def send(self, one: Create) -> None:
        """Send a create and read its answer, if there is one."""
        try:
            status, headers, body = self._answer(one)
        except BROKEN:
            self.seen["broken"] += 1
            return
        self.seen[str(status)] += 1
        if status == 201:
            self.seen["replayed"] += b"idempotency-replayed: true" in headers.lower()
            one.acknowledged.append(body)
        elif status != 409:
            self.wrong.append(f"{status} {body!r}")

    def _answer(self, one: Create) -> tuple[int, bytes, bytes]:
        with self._connection() as connection:
            connection.sendall(one.request(self.service.port))
            whole = b""
            while piece := connection.recv(65536):
                whole += piece
        head, _gap, body = whole.partition(b"\r\n\r\n")
        lengths = [
            line.partition(b":")[2]
            for line in head.splitlines()
            if line.lower().startswith(b"content-length")
        ]
        if not lengths or len(body) != int(lengths[0]):
            raise EOFError
        return int(head.split()[1]), head, body

    @contextmanager
    def _connection(self) -> Iterator[socket.socket]:
        with socket.create_connection((self.service.host, self.service.port), timeout=30) as made:
            # Cut, not closed politely: what was not sent or read yet is dropped.
            made.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, b"\1\0\0\0\0\0\0\0")
            yield made


def client(network: Network, own: list[Create], seed: int) -> None:
    """Send each create one to five times: all but the last may be cut, some at the same time."""
    chosen = random.Random(seed)
    for one in own:
        n_sent = chosen.randint(1, 5)
        for _ in range(n_sent - 1):
            if chosen.random() < 0.75:
                network.cut(one, chosen.choice(CUTS), chosen)
            else:
                network.send(one)
        network.send(one)


def killer(network: Network, stop: threading.Event, every: float) -> None:
    """Kill a worker with SIGKILL, again and again."""
    chosen = random.Random(4)
    while not stop.wait(every):
        workers = network.service.workers()
        if len(workers) < 2:
            continue  # the last one was not replaced yet
        with suppress(ProcessLookupError):
            os.kill(chosen.choice(workers), signal.SIGKILL)
            network.seen["killed"] += 1


def run(service: Served, *, n_creates: int, kill_every: float) -> Counter[str]:
    """Send all creates, then ask the database. Gives what happened on the way."""
    tokens = [
        json.loads(service.call("POST", "keepers/", {})[1])["token"] for _ in range(N_CLIENTS)
    ]
    all_of_them = creates(n_creates, tokens)
    network, stop = Network(service), threading.Event()
    killing = threading.Thread(target=killer, args=(network, stop, kill_every))
    killing.start()
    try:
        with ThreadPoolExecutor(N_CLIENTS) as pool:
            shares = [all_of_them[n::N_CLIENTS] for n in range(N_CLIENTS)]
            for done in [
                pool.submit(client, network, own, seed) for seed, own in enumerate(shares)
            ]:
                done.result()
    finally:
        stop.set()
        killing.join()
    assert network.wrong == []
    before = stored(service)
    for one in all_of_them:
        # Acknowledged ones are there; the others are there once or not at all.
        n_rows = before[one.marker] if one.path != "keepers/" else None
        assert n_rows is None or n_rows in ({1} if one.acknowledged else {0, 1}), one
    acknowledged = sum(bool(one.acknowledged) for one in all_of_them)
    network.seen["acknowledged"] = acknowledged
    for one in all_of_them:
        deadline, n_before = time.monotonic() + 30, len(one.acknowledged)
        while len(one.acknowledged) == n_before:
            assert time.monotonic() < deadline, one
            network.send(one)
        assert len(set(one.acknowledged)) == 1, one
    check_stored(service, all_of_them, n_keepers=N_CLIENTS)
    assert network.wrong == []
    return network.seen


def stored(service: Served) -> Counter[str]:
    """How often each marker is in the database."""
    with psycopg.connect(service.database) as connection:
        rows = connection.execute(
            "SELECT basis FROM clutches_hatchlinggroup WHERE basis <> '' UNION ALL "
            "SELECT a.label FROM pairings_pairing p JOIN pairings_animal a ON a.id = p.sire_id"
        ).fetchall()
    return Counter(row[0] for row in rows)


def check_stored(service: Served, all_of_them: list[Create], *, n_keepers: int) -> None:
    """Every create is there once, under the id of its answer, and counts once in the pools."""
    kinds = Counter(one.path for one in all_of_them)
    markers = {one.marker: 1 for one in all_of_them if one.path != "keepers/"}
    assert stored(service) == Counter(markers)
    with psycopg.connect(service.database) as connection:
        for table, path in (("clutches_clutch", "clutches/"), ("pairings_pairing", "pairings/")):
            ids = {str(row[0]) for row in connection.execute(f"SELECT id FROM {table}")}
            answered = {
                json.loads(one.acknowledged[0])["id"] for one in all_of_them if one.path == path
            }
            assert ids == answered
        joined = {str(row[0]) for row in connection.execute("SELECT id FROM keepers_keeper")}
        answers = connection.execute("SELECT count(*) FROM traffic_storedanswer").fetchone()
    new = [json.loads(one.acknowledged[0]) for one in all_of_them if one.path == "keepers/"]
    assert {one["keeper"] for one in new} < joined
    assert len(joined) == kinds["keepers/"] + n_keepers
    assert answers == (len(all_of_them),)
    status, body, _headers = service.call("GET", f"combinations/{GECKO}/ashwater/")
    assert status == 200
    assert json.loads(body)["tried"]["clutches"] == kinds["clutches/"]


def test_creates__over_a_bad_network_are_done_once(tmp_path, settings):
    """The short version of the proof below, on a served PostgreSQL."""
    with (
        own_database(address_of(settings), "broodcount retries short") as url,
        served(tmp_path, url=url, BROODCOUNT_RATE_LIMITS="off") as service,
    ):
        seen = run(service, n_creates=60, kill_every=0.7)
    assert min(seen[f"cut {where}"] for where in CUTS) >= 5
    assert seen["replayed"] >= 60
    assert seen["killed"] >= 1


@pytest.mark.slow
@pytest.mark.parametrize("database", ["embedded", "served"])
def test_five_hundred_creates__over_a_bad_network_are_done_once(tmp_path, settings, database):
    with own_database(address_of(settings), "broodcount retries") as url:
        stated = url if database == "served" else None
        with served(tmp_path, url=stated, BROODCOUNT_RATE_LIMITS="off") as service:
            seen = run(service, n_creates=500, kill_every=1.5)
    print(database, dict(seen))  # noqa: T201 - what happened on the way
    assert min(seen[f"cut {where}"] for where in CUTS) >= 100
    assert seen["replayed"] >= 500
    assert seen["killed"] >= 3
    assert seen["acknowledged"] >= 250


def test_worker_killed_inside_its_transaction__frees_the_key_at_once(tmp_path, settings):
    """Certainly inside: the keeper's row is locked here, so the create waits in the database."""
    with (
        own_database(address_of(settings), "broodcount retries inside") as url,
        served(tmp_path, url=url, BROODCOUNT_RATE_LIMITS="off") as service,
    ):
        new = json.loads(service.call("POST", "keepers/", {})[1])
        (one,) = creates(1, [new["token"]])
        network = Network(service)
        with psycopg.connect(url) as other, psycopg.connect(url, autocommit=True) as watch:
            other.execute("SELECT FROM keepers_keeper WHERE id = %s FOR UPDATE", [new["keeper"]])
            with network._connection() as cut:
                cut.sendall(one.request(service.port))
                wait_for(lambda: n_waiting(watch) == 1)
            # Its connection is cut; it still waits, and whoever retries is told so.
            status, _body, headers = service.call("POST", one.path, one.body, one.headers)
            assert (status, headers["retry-after"]) == (409, "1")
            for worker in service.workers():
                os.kill(worker, signal.SIGKILL)
            other.rollback()
            # The statement ends, finds nobody to answer to, and its transaction is undone.
            wait_for(lambda: n_waiting(watch) == 0)
            wait_for(lambda: held(watch) == 0)
        assert stored(service) == {}
        deadline = time.monotonic() + 20
        while not one.acknowledged and time.monotonic() < deadline:
            network.send(one)
        network.send(one)
        assert len(set(one.acknowledged)) == 1
        assert stored(service) == {one.marker: 1}


def n_waiting(connection: psycopg.Connection[Any]) -> int:
    """Connections that wait for a lock."""
    query = (
        "SELECT count(*) FROM pg_stat_activity "
        "WHERE wait_event_type = 'Lock' AND datname = current_database()"
    )
    ((n,),) = connection.execute(query).fetchall()
    return int(n)


def held(connection: psycopg.Connection[Any]) -> int:
    """Keys that are taken."""
    query = (
        "SELECT count(*) FROM pg_locks WHERE locktype = 'advisory' AND database = "
        "(SELECT oid FROM pg_database WHERE datname = current_database())"
    )
    ((n,),) = connection.execute(query).fetchall()
    return int(n)


def wait_for(condition: Any) -> None:
    deadline = time.monotonic() + 15
    while not condition():
        assert time.monotonic() < deadline, "what was waited for did not come"
        time.sleep(0.02)
