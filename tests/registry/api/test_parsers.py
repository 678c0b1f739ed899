"""Bodies that are no JSON, over HTTP."""

from __future__ import annotations

import json
from typing import Any

import pytest
from django.test import Client

from registry.api.parsers import strict_json
from registry.errors import NotJsonError

pytestmark = pytest.mark.urls("tests.registry.api.calls")


def refused(body: str | bytes, code: str) -> dict[str, Any]:
    response = Client().post("/api/v1/reports/", body, content_type="application/json")
    read: dict[str, Any] = json.loads(response.content)
    assert (response.status_code, read["code"]) == (400, code)
    return read


@pytest.mark.parametrize(
    ("body", "text"),
    [
        ('{"season":\n  2026,,}', ("Expecting property name enclosed in double quotes at line 2, "
         "column 8.")),
        ('{"season": NaN}', "The body is not JSON: NaN is no number of JSON."),
        ('{"season": -Infinity}', "The body is not JSON: -Infinity is no number of JSON."),
        ('{"a": 1, "a": 2}', "The body has the name 'a' twice in one object."),
        (b'{"a": "\xff"}', "The body is not UTF-8: byte 8 begins no character."),
        ("[" * 100_000, "The body is nested too deep to be read."),
        ('{"season": ' + "9" * 5000 + "}", "The body has a number of too many digits."),
    ],
)  # fmt: skip
def test_strict_json_parser__says_what_is_wrong(body: str | bytes, text: str) -> None:
    assert refused(body, "not-json")["detail"].endswith(text)


def test_strict_json_parser__gives_line_and_column() -> None:
    read = refused('{"season":\n  2026,,}', "not-json")
    assert (read["line"], read["column"]) == (2, 8)


@pytest.mark.parametrize(
    ("body", "pointer", "character"),
    [
        ('{"sire": {"genes": "ab\\u0000"}}', "#/sire/genes", "Character 3 of the text is U+0000"),
        ('{"groups": [{}, "\\ud800"]}', "#/groups/1", "Character 1 of the text is U+D800"),
        ('{"a\\udc00": 1}', "#", "Character 2 of the text is U+DC00"),
    ],
)
def test_strict_json_parser__refuses_what_no_text_has(
    body: str, pointer: str, character: str
) -> None:
    read = refused(body, "unreadable-characters")
    assert read["errors"][0]["pointer"] == pointer
    assert character in read["detail"]


def test_strict_json__reads_a_mark_of_order_and_pairs_of_surrogates() -> None:
    assert strict_json(b'\xef\xbb\xbf{"a": "\\ud83e\\udd8e"}') == {"a": "\U0001f98e"}


def test_strict_json__refuses_an_empty_text() -> None:
    with pytest.raises(NotJsonError, match="line 1, column 1"):
        strict_json(b"")
