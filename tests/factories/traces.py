"""What a keeper writes and is told, and the search for it in everything that is kept or shown."""

from __future__ import annotations

import io
import re
import secrets
import uuid
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from django.core.management import call_command
from django.db import connection

from registry.traffic.sealing import key_digest
from tests.factories.registry import GECKO, Api

_ID: Final = re.compile(r"[0-9a-f]{8}(?:-[0-9a-f]{4}){3}-[0-9a-f]{12}")
_SECRET: Final = re.compile(r"bc[kr]_[\w-]{20,}")
_SHOWN_TO_ALL: Final = (
    "feeds/flags.atom",
    f"feeds/flags/{GECKO}.atom",
    f"feeds/combinations/{GECKO}/ashwater.atom",
    f"exports/pools/{GECKO}.csv",
    "exports/",
    "flags/",
    "combinations/",
    f"combinations/{GECKO}/ashwater/",
    f"combinations/{GECKO}/ashwater/history/",
    f"species/{GECKO}/look-alikes/",
    "/",
    "/watch/",
    f"/combinations/{GECKO}/ashwater/",
    f"/combinations/{GECKO}/ashwater/over-time/",
    f"/combinations/{GECKO}/ashwater/over-time.svg",
)


class NotedKeeper(Api):
    """A keeper of whom is noted whatever leads back to it: value -> what it is."""

    def __init__(self) -> None:
        super().__init__()
        self.noted: dict[str, str] = {}
        new = self.send("post", "keepers/", {}, headers=self.key()).json()
        self.token, self.keeper = new["token"], new["keeper"]
        self.recovery_code = new["recovery_code"]

    def word(self, what: str) -> str:
        """A word that nobody else writes."""
        text = f"{what} {secrets.token_hex(6)}"
        self.noted[text] = what
        return text

    def key(self) -> dict[str, str]:
        """Header of a retry."""
        key = f"key-{secrets.token_hex(16)}"
        self.noted[key] = "key of a retry"
        for caller in (None, *([uuid.UUID(self.keeper)] if self.keeper else [])):
            self.noted[key_digest(caller, key).hex()] = "digest of a key"
        return {"Idempotency-Key": key}

    def send(self, method: str, path: str, body: Any = None, **given: Any) -> Any:
        """The response, with its ids and secrets noted."""
        response = super().send(method, path, body, **given)
        if "json" in response.headers.get("Content-Type", ""):
            told = response.content.decode()
            self.noted |= dict.fromkeys(_ID.findall(told), "id")
            self.noted |= dict.fromkeys(_SECRET.findall(told), "secret")
        return response

    def made(self, path: str, body: Any, **headers: str) -> Any:
        """The JSON of a create with a key of its own."""
        response = self.send("post", path, body, headers=self.key() | headers)
        assert response.status_code in {200, 201}, response.content
        return response.json()


@dataclass(frozen=True)
class Kept:
    """Where things are kept beside the database."""

    ledger: Path
    exports: Path
    log: io.StringIO

    def places(self) -> Iterator[tuple[str, str]]:
        """Everything that is kept or shown: name of the place, text."""
        for path in _SHOWN_TO_ALL:
            yield path, Api().read(path).decode()
        call_command("exports", "write", str(self.exports), stdout=io.StringIO())
        yield from self.files()
        yield from _tables()
        yield "log", self.log.getvalue()

    def files(self) -> Iterator[tuple[str, str]]:
        """Files that the service wrote."""
        for file in (self.ledger, *sorted(self.exports.rglob("*"))):
            if file.is_file():
                yield file.name, file.read_text("utf-8")


def _tables() -> Iterator[tuple[str, str]]:
    """Every table and materialised view, of no model included; bytes as hexadecimal digits."""
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT oid::regclass::text FROM pg_class WHERE relkind IN ('r', 'm') "
            "AND relnamespace::regnamespace::text !~ '^(pg_|information_schema)'"
        )
        for (name,) in cursor.fetchall():
            with cursor.copy(f"COPY (SELECT * FROM {name}) TO STDOUT") as copy:
                yield f"table {name}", b"".join(bytes(row) for row in copy).decode()


def leaks(sought: Mapping[str, str], places: Iterator[tuple[str, str]]) -> set[tuple[str, str]]:
    """(place, what) of everything sought that is found, in whatever way it may be written down."""
    forms = [(form, what) for value, what in sought.items() for form in _forms(value)]
    return {
        (place, what)
        for place, text in places
        for lowered in [text.lower()]
        for form, what in forms
        if form in lowered
    }


def _forms(value: str) -> set[str]:
    """As text, and as bytes in hexadecimal digits; an id without its hyphens as well."""
    plain = {value, value.replace("-", "")} if _ID.fullmatch(value) else {value}
    return {form for one in plain for form in (one.lower(), one.encode().hex())}
