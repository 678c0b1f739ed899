"""Faults of a JSON file's form: syntax, keys given twice, the file's JSON Schema.

Everything here yields ``Finding`` pairs (JSON pointer, message), so that the same messages
serve catalogue files and published crosses.
"""

import json
from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any

from jsonschema import Draft202012Validator
from jsonschema.exceptions import ValidationError
from rapidfuzz import fuzz, process

TYPE_WORDS = {
    "object": "an object",
    "array": "a list",
    "string": "a text",
    "integer": "a whole number",
    "number": "a number",
    "boolean": "true or false",
    "null": "null",
}

PATTERN_WORDS = {
    "^[a-z0-9]+(-[a-z0-9]+)*$": "small letters, digits and single hyphens, such as 'corn-snake'",
    "^\\S(.*\\S)?$": "a text without a space at either end",
    "\\S": "a text that is not blank",
    "^([0-9]+/[1-9][0-9]*|[0-9]+(\\.[0-9]+)?)$": 'a fraction such as "3/50" or "0.06"',
}

Finding = tuple[str, str]
NEAR_ENOUGH = 60  # of 100, rapidfuzz ratio
LONGEST_SHOWN = 60  # characters of a value in a message


class _Object(dict[str, Any]):
    """A JSON object that remembers which of its keys were given more than once."""

    repeated: tuple[str, ...] = ()


def pointer(parts: Iterable[str | int]) -> str:
    """JSON pointer (RFC 6901) of a place in a file; the empty text is the whole file."""
    return "".join("/" + str(part).replace("~", "~0").replace("/", "~1") for part in parts)


def parsed(raw: bytes) -> tuple[Any, list[Finding]]:
    """Content of a JSON file and the faults of its syntax.

    With a syntax fault the content is None. Keys given twice are a fault, and the content
    then holds the last value. Text must be UTF-8; NaN and Infinity are not JSON.
    """
    try:
        content = json.loads(
            raw.decode("utf-8"), object_pairs_hook=_noting_repeats, parse_constant=_refuse_constant
        )
    except UnicodeDecodeError as error:
        return None, [("", f"byte {error.start + 1} is not UTF-8 text, expected a UTF-8 file")]
    except json.JSONDecodeError as error:
        where = f"line {error.lineno}, column {error.colno}"
        return None, [("", f"{where}: not valid JSON, {error.msg[0].lower()}{error.msg[1:]}")]
    except _NotJsonError as error:
        return None, [("", f"found {error}, which is not JSON, expected a number")]
    except RecursionError:
        return None, [("", "nested too deeply to read")]
    return content, list(_repeat_findings(content, ()))


def schema_findings(content: object, schema: Mapping[str, Any]) -> list[Finding]:
    """Every place where ``content`` departs from ``schema``, in the order of the file."""
    errors = Draft202012Validator(schema).iter_errors(content)
    findings: list[Finding] = []
    for error in sorted(errors, key=lambda e: [str(part).zfill(6) for part in e.absolute_path]):
        findings.extend(_error_findings(error))
    return findings


def nearest(word: str, known: Sequence[str]) -> str:
    """``; did you mean 'x'?`` for the nearest known word, empty when none is near."""
    match = process.extractOne(
        word.casefold(), known, scorer=fuzz.ratio, processor=str.casefold, score_cutoff=NEAR_ENOUGH
    )
    return f"; did you mean '{match[0]}'?" if match else ""


class _NotJsonError(ValueError):
    """NaN or Infinity, which Python reads and JSON does not have."""


def _refuse_constant(word: str) -> None:
    raise _NotJsonError(word)


def _noting_repeats(pairs: list[tuple[str, Any]]) -> _Object:
    read = _Object(pairs)
    if len(read) != len(pairs):
        keys = [key for key, _ in pairs]
        read.repeated = tuple(key for key in read if keys.count(key) > 1)
    return read


def _repeat_findings(value: object, parts: tuple[str | int, ...]) -> Iterator[Finding]:
    if isinstance(value, _Object):
        for key in value.repeated:
            yield pointer((*parts, key)), f"the key '{key}' is given more than once, expected once"
        for key, inner in value.items():
            yield from _repeat_findings(inner, (*parts, key))
    elif isinstance(value, list):
        for index, inner in enumerate(value):
            yield from _repeat_findings(inner, (*parts, index))


def _error_findings(error: ValidationError) -> Iterator[Finding]:
    place = tuple(error.absolute_path)
    asked: Any = error.validator_value
    instance: Any = error.instance
    schema = error.schema if isinstance(error.schema, Mapping) else {}
    if error.validator == "additionalProperties":
        known = list(schema["properties"])
        for key in instance:
            if key not in known:
                hint = nearest(key, known) or f"; known here: {', '.join(known)}"
                yield pointer((*place, key)), f"unknown key '{key}'{hint}"
    elif error.validator == "required":
        missing = next(key for key in asked if f"{key!r} is" in error.message)
        yield pointer(place), f"the key '{missing}' is missing"
    else:
        yield pointer(place), f"found {_shown(instance)}, expected {_expected(error)}"


def _expected(error: ValidationError) -> str:
    value: Any = error.validator_value
    found: Any = error.instance
    if error.validator == "enum":
        words = [option for option in value if isinstance(option, str)]
        hint = nearest(found, words) if isinstance(found, str) else ""
        return f"one of {', '.join(json.dumps(option) for option in value)}{hint}"
    if error.validator == "type":
        return " or ".join(
            TYPE_WORDS[kind] for kind in ([value] if isinstance(value, str) else value)
        )
    if error.validator == "pattern":
        return PATTERN_WORDS.get(value, f"a text of the form {value}")
    plain = {
        "const": f"{json.dumps(value)}",
        "minItems": f"at least {value} of them",
        "maxItems": f"at most {value} of them",
        "uniqueItems": "each only once",
        "maxLength": f"at most {value} characters",
        "minimum": f"at least {value}",
        "maximum": f"at most {value}",
    }
    return plain.get(str(error.validator), error.message)


def _shown(value: object) -> str:
    text = json.dumps(value, ensure_ascii=False)
    return text if len(text) <= LONGEST_SHOWN else f"{text[: LONGEST_SHOWN - 3]}..."
