"""What all calls share in the OpenAPI document: problems, the ``Link`` header, the token."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from typing import Any, Final

from drf_spectacular.extensions import OpenApiAuthenticationExtension, OpenApiSerializerExtension
from drf_spectacular.openapi import AutoSchema
from drf_spectacular.utils import Direction

from registry.api.problems import MEDIA_TYPE, TYPE_PREFIX
from registry.errors import ErrorCode

_METHODS: Final = ("get", "put", "post", "delete", "options", "head", "patch", "trace")
SCHEME_NAME: Final = "keeperToken"
SCHEME: Final = {
    "type": "http",
    "scheme": "bearer",
    "description": "The token that a keeper got when registering.",
}


class StrictSerializerExtension(OpenApiSerializerExtension):  # type: ignore[no-untyped-call]
    """Bodies read by `StrictSerializer` have no further fields."""

    target_class = "registry.api.serializers.StrictSerializer"
    match_subclasses = True

    def map_serializer(self, auto_schema: AutoSchema, direction: Direction) -> dict[str, Any]:
        """Schema of the body; closed where it is a request."""
        schema: dict[str, Any] = auto_schema._map_serializer(  # type: ignore[no-untyped-call] # noqa: SLF001 - as documented
            self.target, direction, bypass_extensions=True
        )
        if direction == "request":
            schema["additionalProperties"] = False
        return schema


class BearerExtension(OpenApiAuthenticationExtension):  # type: ignore[no-untyped-call]
    """Any authentication by token is the one scheme of the document."""

    target_class = "registry.api.bearer.BearerAuthentication"
    match_subclasses = True
    name = SCHEME_NAME

    def get_security_definition(self, auto_schema: AutoSchema) -> dict[str, Any]:
        """The scheme."""
        return dict(SCHEME)


def add_shared_parts(
    result: dict[str, Any],
    generator: Any,
    request: Any,
    public: bool,  # noqa: FBT001 - a hook
) -> dict[str, Any]:
    """Postprocessing hook of drf-spectacular: problem responses and shared components."""
    components = result.setdefault("components", {})
    components.setdefault("schemas", {})["Problem"] = _problem_schema()
    components.setdefault("securitySchemes", {})[SCHEME_NAME] = dict(SCHEME)
    components.setdefault("headers", {})["Link"] = _link_header()
    components.setdefault("responses", {}).update(_problem_responses())
    for path, operation in _operations(result):
        _add_problems(path, operation)
        if any(one.get("name") == "cursor" for one in operation.get("parameters", [])):
            found = operation["responses"].get("200", {})
            found.setdefault("headers", {})["Link"] = {"$ref": "#/components/headers/Link"}
    return result


def _operations(result: dict[str, Any]) -> Iterator[tuple[str, dict[str, Any]]]:
    for path, item in result.get("paths", {}).items():
        for method in _METHODS:
            if method in item:
                yield path, item[method]


def _add_problems(path: str, operation: dict[str, Any]) -> None:
    statuses = {400, 406, 429, 500}
    if "requestBody" in operation:
        statuses |= {413, 415}
    if "{" in path:
        statuses.add(404)
    if any(operation.get("security", [])):
        statuses |= {401, 403}
    responses = operation.setdefault("responses", {})
    for status in sorted(statuses):
        if MEDIA_TYPE not in responses.get(str(status), {}).get("content", {}):
            responses[str(status)] = {"$ref": f"#/components/responses/Problem{status}"}


def _problem_responses() -> dict[str, Any]:
    codes: dict[int, list[ErrorCode]] = defaultdict(list)
    for code in ErrorCode:
        codes[code.http_status].append(code)
    return {
        f"Problem{status}": {
            "description": "; ".join(f"`{code}`: {code.heading}" for code in members),
            "content": {MEDIA_TYPE: {"schema": {"$ref": "#/components/schemas/Problem"}}},
        }
        for status, members in codes.items()
    }


def _link_header() -> dict[str, Any]:
    return {
        "description": "Links to the next and the previous page (RFC 8288), where there are any.",
        "schema": {"type": "string"},
    }


def _problem_schema() -> dict[str, Any]:
    codes = [str(code) for code in ErrorCode]
    text = {"type": "string"}
    code = {"type": "string", "enum": codes}
    fault = {
        "type": "object",
        "description": "One fault. Further members depend on the code, such as `suggestions`.",
        "required": ["code", "detail"],
        "properties": {
            "pointer": {**text, "description": "JSON pointer (RFC 6901) into the body."},
            "parameter": {**text, "description": "Name of the query or path parameter."},
            "column": {**text, "description": "Column of a table, as its header names it."},
            "cell": {"type": ["string", "null"], "description": "What stands in that column."},
            "entry": {"type": "integer", "description": "Entry of a list in the cell, from 1."},
            "code": code,
            "detail": text,
        },
    }
    return {
        "type": "object",
        "description": "A problem (RFC 9457). If there is one single fault, its further members "
        "stand here as well.",
        "required": ["type", "title", "status", "detail", "code", "errors", "instance"],
        "properties": {
            "type": {**text, "format": "uri", "pattern": f"^{TYPE_PREFIX}"},
            "title": text,
            "status": {"type": "integer", "minimum": 400, "maximum": 599},
            "detail": {**text, "description": "What was read and what was expected."},
            "instance": {**text, "format": "uri-reference", "description": "Path called."},
            "code": code,
            "errors": {"type": "array", "items": fault},
        },
    }
