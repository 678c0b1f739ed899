"""A reader of tabular data packages: a CSV as its descriptor says it is, or an error."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Mapping
from typing import Any


def read_table(resource: Mapping[str, Any], content: bytes) -> list[dict[str, Any]]:
    """Rows of a resource, read by its dialect, checked against its Table Schema.

    Raises ValueError for whatever is not as the descriptor says. Written from the text of Table
    Dialect and Table Schema, version 2.0 (datapackage.org).
    """
    dialect, schema = resource["dialect"], resource["schema"]
    text = content.decode(resource["encoding"])
    end = dialect["lineTerminator"]
    if not text.endswith(end) or text.count("\n") != text.count(end):
        raise ValueError("lines end otherwise")
    read = csv.reader(
        io.StringIO(text, newline=""),
        delimiter=dialect["delimiter"],
        quotechar=dialect["quoteChar"],
        doublequote=dialect["doubleQuote"],
        strict=True,
    )
    header, *lines = list(read)
    fields = schema["fields"]
    if header != [one["name"] for one in fields]:
        raise ValueError(f"the header is {header}")
    rows = []
    for line in lines:
        values = zip(fields, line, strict=True)
        rows.append({one["name"]: _value(one, raw, schema["missingValues"]) for one, raw in values})
    keys = [tuple(row[name] for name in schema["primaryKey"]) for row in rows]
    if len(set(keys)) != len(keys) or any(None in key for key in keys):
        raise ValueError("the primary key is none")
    return rows


def _value(field: Mapping[str, Any], raw: str, missing: list[str]) -> Any:
    rules = field.get("constraints", {})
    if raw in missing:
        if rules.get("required"):
            raise ValueError(f"{field['name']} is missing")
        return None
    value = {"string": str, "integer": int, "object": json.loads}[field["type"]](raw)
    if field["type"] == "object" and not isinstance(value, dict):
        raise ValueError(f"{field['name']} is no object")
    if not rules.get("minimum", value) <= value <= rules.get("maximum", value) if rules else False:
        raise ValueError(f"{field['name']} is {value}")
    return value
