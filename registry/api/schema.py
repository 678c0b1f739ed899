"""What all calls share in the OpenAPI document: problems, headers, the token."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator
from typing import Any, Final

from drf_spectacular.extensions import OpenApiAuthenticationExtension, OpenApiSerializerExtension
from drf_spectacular.openapi import AutoSchema
from drf_spectacular.utils import Direction

from registry.api.problems import MEDIA_TYPE, TYPE_PREFIX
from registry.errors import ErrorCode

# A header that a call reads -> statuses that come with it.
_PROBLEMS_OF_HEADERS: Final = {"Idempotency-Key": {409, 422}, "If-Match": {412, 428}}
_TELL_WHEN: Final = (409, 429, 503)
_METHODS: Final = ("get", "put", "post", "delete", "options", "head", "patch", "trace")
_FIRST_PROBLEM: Final = 400
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
    components.setdefault("headers", {}).update(_headers())
    components.setdefault("responses", {}).update(_problem_responses())
    for path, method, operation in _operations(result):
        _add_problems(path, operation)
        _add_headers(operation)
        if method == "get":
            _add_etags(operation)
        if any(one.get("name") == "cursor" for one in operation.get("parameters", [])):
            found = operation["responses"].get("200", {})
            found.setdefault("headers", {})["Link"] = {"$ref": "#/components/headers/Link"}
    return result


def _operations(result: dict[str, Any]) -> Iterator[tuple[str, str, dict[str, Any]]]:
    for path, item in result.get("paths", {}).items():
        for method in _METHODS:
            if method in item:
                yield path, method, item[method]


def _add_problems(path: str, operation: dict[str, Any]) -> None:
    statuses = {400, 406, 429, 500, 503}
    if "requestBody" in operation:
        statuses |= {413, 415}
    if "{" in path:
        statuses.add(404)
    if any(operation.get("security", [])):
        statuses |= {401, 403}
    for name, more in _PROBLEMS_OF_HEADERS.items():
        if name in _header_names(operation):
            statuses |= more
    responses = operation.setdefault("responses", {})
    # Further ones that the view names, such as a conflict.
    statuses |= {int(one) for one in responses if one.isdigit() and int(one) >= _FIRST_PROBLEM}
    for status in sorted(statuses):
        if MEDIA_TYPE not in responses.get(str(status), {}).get("content", {}):
            responses[str(status)] = {"$ref": f"#/components/responses/Problem{status}"}


def _header_names(operation: dict[str, Any]) -> set[str]:
    return {one["name"] for one in operation.get("parameters", []) if one.get("in") == "header"}


def _add_headers(operation: dict[str, Any]) -> None:
    """Say on every answer how many calls are left, and on a create whether it is a repeated one."""
    once = "Idempotency-Key" in _header_names(operation)
    for status, response in operation["responses"].items():
        if "$ref" in response or status == "304":
            continue
        names = ["RateLimit", "RateLimit-Policy"]
        if once and status.startswith("2"):
            names.append("Idempotency-Replayed")
        _name_headers(response, names)


def _add_etags(operation: dict[str, Any]) -> None:
    found = operation["responses"].get("200", {})
    if not any("json" in kind for kind in found.get("content", {})):
        return
    _name_headers(found, ["ETag"])
    operation["responses"]["304"] = {
        "description": "The answer is the one whose ETag was sent as `If-None-Match`."
    }
    _name_headers(operation["responses"]["304"], ["ETag", "RateLimit", "RateLimit-Policy"])


def _name_headers(response: dict[str, Any], names: Iterable[str]) -> None:
    headers = response.setdefault("headers", {})
    headers.update({name: {"$ref": f"#/components/headers/{name}"} for name in names})


def _problem_responses() -> dict[str, Any]:
    codes: dict[int, list[ErrorCode]] = defaultdict(list)
    for code in ErrorCode:
        codes[code.http_status].append(code)
    found: dict[str, Any] = {
        f"Problem{status}": {
            "description": "; ".join(f"`{code}`: {code.heading}" for code in members),
            "content": {MEDIA_TYPE: {"schema": {"$ref": "#/components/schemas/Problem"}}},
        }
        for status, members in codes.items()
    }
    for status in _TELL_WHEN:
        _name_headers(found[f"Problem{status}"], ["Retry-After"])
    _name_headers(found["Problem429"], ["RateLimit", "RateLimit-Policy"])
    return found


def _headers() -> dict[str, Any]:
    text = {"type": "string"}
    return {
        "Link": {
            "description": "Links to the next and the previous page (RFC 8288), where there are "
            "any.",
            "schema": text,
        },
        "ETag": {
            "description": "SHA-256 of the answer, the same for everybody; send it as "
            "`If-None-Match` to read again, as `If-Match` to edit.",
            "required": True,
            "schema": {**text, "pattern": '^"[!#-~]+"$'},
        },
        "Idempotency-Replayed": {
            "description": "`true` if this is the stored answer of an earlier call.",
            "schema": {**text, "enum": ["true"]},
        },
        "RateLimit": {
            "description": 'Calls left and seconds until they are renewed: `"keeper";r=599;t=60`. '
            "Absent where calls are not limited.",
            "schema": text,
        },
        "RateLimit-Policy": {
            "description": 'Calls in so many seconds: `"keeper";q=600;w=60`.',
            "schema": text,
        },
        "Retry-After": {
            "description": "Seconds to wait.",
            "schema": {**text, "pattern": "^[0-9]+$"},
        },
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
