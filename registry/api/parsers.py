"""The body as JSON, read strictly."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from functools import partial
from typing import IO, Any, NoReturn

from rest_framework.exceptions import UnsupportedMediaType
from rest_framework.parsers import BaseParser

from registry.errors import FieldsError, NotJsonError, Place, PlacedError, UnreadableCharactersError

# PostgreSQL stores no NUL, UTF-8 has no half surrogate pairs: neither is text.
_NO_TEXT = re.compile("[\x00\ud800-\udfff]")


class StrictJSONParser(BaseParser):
    """Reads ``application/json`` as RFC 8259 has it, and text only.

    Refused beyond what is no JSON: NaN and Infinity, a name twice in one object, NUL and half
    surrogate pairs in a text or name, bytes that are no UTF-8, nesting too deep to read.
    """

    media_type = "application/json"

    def parse(
        self,
        stream: IO[Any],
        media_type: str | None = None,
        parser_context: Mapping[str, Any] | None = None,
    ) -> Any:
        """Value of the body. Raises `NotJsonError` or, with its place, a refused text."""
        coding_checked(media_type, parser_context)
        return strict_json(stream.read())


def content_coding(headers: Mapping[str, str]) -> str:
    """How a body was coded on its way, such as gzip; empty if it was not."""
    coding = headers.get("Content-Encoding", "").strip()
    return "" if coding.casefold() == "identity" else coding


def coding_checked(media_type: str | None, parser_context: Mapping[str, Any] | None) -> None:
    """Refuse a coded body with 415: read as it is, it would only be no text."""
    request = (parser_context or {}).get("request")
    if request is not None and content_coding(request.headers):
        raise UnsupportedMediaType(media_type or "")


def strict_json(body: bytes) -> Any:
    """Value of a JSON text in UTF-8, read as `StrictJSONParser` does."""
    try:
        return _strict_value(body, "body")
    except json.JSONDecodeError as error:
        raise NotJsonError(
            f"The body is not JSON: {error.msg} at line {error.lineno}, column {error.colno}.",
            line=error.lineno,
            column=error.colno,
        ) from error


def strict_json_line(line: bytes) -> Any:
    """Value of one line of JSON lines, read as strictly; faults are told by character."""
    try:
        return _strict_value(line, "line")
    except json.JSONDecodeError as error:
        raise NotJsonError(
            f"The line is not JSON: {error.msg} at character {error.pos + 1}. One whole clutch is "
            "expected in each line.",
            character=error.pos + 1,
        ) from error


def _strict_value(body: bytes, what: str) -> Any:
    """Value of the ``what``; raises a JSONDecodeError for the callers to word."""
    try:
        text = body.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise NotJsonError(
            f"The {what} is not UTF-8: byte {error.start + 1} begins no character.",
            byte=error.start + 1,
        ) from error
    try:
        value = json.loads(
            text,
            parse_constant=partial(_refuse_constant, what),
            object_pairs_hook=partial(_object, what),
        )
    except json.JSONDecodeError:
        raise
    except RecursionError as error:
        raise NotJsonError(f"The {what} is nested too deep to be read.") from error
    except ValueError as error:  # an integer of more digits than Python converts
        raise NotJsonError(f"The {what} has a number of too many digits.") from error
    refuse_no_text(value)
    return value


def _refuse_constant(what: str, name: str) -> NoReturn:
    raise NotJsonError(f"The {what} is not JSON: {name} is no number of JSON.")


def _object(what: str, pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    read = dict(pairs)
    if len(read) < len(pairs):
        names = [name for name, _value in pairs]
        twice = next(name for name in names if names.count(name) > 1)
        raise NotJsonError(f"The {what} has the name {twice!r} twice in one object.", name=twice)
    return read


def refuse_no_text(value: Any) -> None:
    """Raise the place of the first text that is none. A loop: no depth can exhaust the stack."""
    waiting: list[tuple[Place, Any]] = [((), value)]
    while waiting:
        place, inner = waiting.pop()
        if isinstance(inner, dict):
            for name in inner:
                _refuse_in(name, place)
            waiting.extend(((*place, name), item) for name, item in inner.items())
        elif isinstance(inner, list):
            waiting.extend(((*place, index), item) for index, item in enumerate(inner))
        elif isinstance(inner, str):
            _refuse_in(inner, place)


def _refuse_in(text: str, place: Place) -> None:
    found = _NO_TEXT.search(text)
    if found is not None:
        error = UnreadableCharactersError(
            f"Character {found.start() + 1} of the text is U+{ord(found[0]):04X}, which is no "
            "character of a text."
        )
        raise FieldsError([PlacedError(error, place)])
