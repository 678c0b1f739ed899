"""Calls of the registry for tests: keepers, clutches of the invented demo species, rows stored.

`Api` sends requests through the whole service, in process, and holds every answer against the
OpenAPI document: a member that the document does not name fails the test.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterator, Mapping
from copy import deepcopy
from functools import cache
from pathlib import Path
from typing import Any, Final

from django.apps import apps
from django.db import connection
from django.http import HttpResponse
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import Resolver404
from drf_spectacular.generators import SchemaGenerator
from jsonschema import Draft202012Validator

from registry.catalogue.checking import completed
from registry.catalogue.selectors import version_loaded
from registry.catalogue.services import LoadResult, catalogue_load, species_load
from registry.errors import error_code

FIXTURES: Final = Path(__file__).parents[2] / "fixtures"
GECKO_FILE: Final = FIXTURES / "demo" / "marsh-lantern-gecko.json"
GECKO: Final = "marsh-lantern-gecko"
PROBLEM: Final = "application/problem+json"
API: Final = "/api/v1/"
JSON_LINES: Final = ("application/jsonl", "application/x-ndjson")
ANY_STATE: Final = {"If-Match": "*"}
"""Headers of an edit, whatever is there now."""


# --- the document -----------------------------------------------------------------------------


@cache
def openapi() -> dict[str, Any]:
    """The OpenAPI document, made once."""
    document: dict[str, Any] = SchemaGenerator().get_schema(request=None, public=True)  # type: ignore[no-untyped-call]
    return json.loads(json.dumps(document, default=str))


@cache
def _closed_components() -> dict[str, Any]:
    """Components in which an object has no members beside those that are named."""
    components = deepcopy(openapi()["components"])
    for name, schema in components["schemas"].items():
        if name != "Problem" and "properties" in schema:
            schema.setdefault("additionalProperties", False)
    return components


def documented_path(route: str) -> str:
    """The path of the document for a route of Django."""
    return "/" + re.sub(r"<(?:\w+:)?(\w+)>", r"{\1}", route)


@cache
def _validator(
    path: str, method: str, status: str
) -> tuple[frozenset[str], Draft202012Validator] | None:
    responses = openapi()["paths"][path][method]["responses"]
    assert status in responses, f"{method} {path} answered {status}, which is not documented"
    found = responses[status]
    if "$ref" in found:
        found = openapi()["components"]["responses"][found["$ref"].rpartition("/")[2]]
    if "content" not in found:
        return None
    json_type = next((one for one in found["content"] if one.endswith(("json", "jsonl"))), None)
    schema = found["content"][json_type]["schema"] if json_type else {}
    validator = Draft202012Validator({**schema, "components": _closed_components()})
    return frozenset(found["content"]), validator


def check_documented(response: Any, method: str) -> None:
    """Fail unless status, media type and body are as the document says."""
    try:
        path = documented_path(response.resolver_match.route)
    except Resolver404:
        return
    if path not in openapi()["paths"]:
        return
    if method == "head":
        # As documented for GET, without the body.
        assert response.content == b""
        assert str(response.status_code) in openapi()["paths"][path]["get"]["responses"]
        return
    if method not in openapi()["paths"][path]:
        assert response.status_code == 405
        return
    documented = _validator(path, method, str(response.status_code))
    if documented is None:
        assert response.content == b""
        return
    media_types, validator = documented
    media_type = response.headers["Content-Type"].partition(";")[0]
    assert media_type in media_types
    assert (media_type == PROBLEM) is (response.status_code >= 400)
    if not media_type.endswith(("json", "jsonl")):
        return  # a text or file; what is in it is for the tests of the call
    faults = [
        f"{one.json_path}: {one.message}"
        for one in validator.iter_errors(_documented_form(response, media_type))
    ]
    assert not faults, faults


# --- calls ------------------------------------------------------------------------------------


def _gathered(response: Any) -> Any:
    """A streamed answer as a whole, with what the test client adds to one."""
    # The test client closes it after its last piece.
    whole = HttpResponse(response.getvalue(), status=response.status_code, headers=response.headers)
    whole.resolver_match = response.resolver_match
    whole.json = lambda: json.loads(whole.content)  # type: ignore[attr-defined]
    return whole


def lines_of(response: Any) -> list[dict[str, Any]]:
    """The answers of a body of JSON lines."""
    return [json.loads(line) for line in response.content.splitlines()]


def _documented_form(response: Any, media_type: str) -> Any:
    """The body as its schema means it: JSON lines are the array of them."""
    return lines_of(response) if media_type in JSON_LINES else json.loads(response.content)


class Api:
    """Calls of somebody with a token, or of nobody."""

    def __init__(
        self, token: str | None = None, keeper: str | None = None, recovery_code: str | None = None
    ) -> None:
        self.token = token
        self.keeper = keeper
        self.recovery_code = recovery_code
        self.client = Client(raise_request_exception=False)

    def send(
        self,
        method: str,
        path: str,
        body: Any = None,
        *,
        content: bytes | None = None,
        content_type: str = "application/json",
        headers: Mapping[str, str] | None = None,
        query: Mapping[str, Any] | None = None,
    ) -> Any:
        """The response, after holding it against the document; ``path`` without its beginning."""
        sent = dict(headers or {})
        if self.token and "Authorization" not in sent:
            sent["Authorization"] = f"Bearer {self.token}"
        given: dict[str, Any] = {}
        if content is None and body is not None:
            content = json.dumps(body).encode()
        if content is not None:
            given = {"data": content, "content_type": content_type}
        response = self.client.generic(
            method.upper(),
            path if path.startswith("/") else API + path,
            headers=sent,
            query_params=dict(query or {}),
            **given,
        )
        if response.streaming:
            response = _gathered(response)
        check_documented(response, method.lower())
        return response

    def get(self, path: str, **query: Any) -> Any:
        """The JSON of a successful GET."""
        response = self.send("get", path, query=query)
        assert response.status_code == 200, response.content
        return response.json()

    def read(self, path: str, **given: Any) -> bytes:
        """The bytes of a successful GET that answers with a file."""
        response = self.send("get", path, **given)
        assert response.status_code == 200, response.content
        content: bytes = response.getvalue()
        return content

    def post(self, path: str, body: Any, *, status: int | None = None) -> Any:
        """The JSON of a successful POST."""
        response = self.send("post", path, body)
        assert response.status_code in {200, 201} if status is None else [status], response.content
        return response.json()

    def delete(self, path: str) -> None:
        """A successful DELETE of what a GET shows."""
        read = self.send("get", path)
        response = self.send("delete", path, headers={"If-Match": read.headers["ETag"]})
        assert response.status_code == 204, response.content

    def bulk(
        self,
        content: Any,
        content_type: str = "application/jsonl",
        **query: Any,
    ) -> list[dict[str, Any]]:
        """Answers to an upload, the summary last; ``content``: text, bytes or a list of bodies."""
        if isinstance(content, list):
            content = "\n".join(map(json.dumps, content))
        if isinstance(content, str):
            content = content.encode()
        response = self.send(
            "post", "clutches/bulk/", content=content, content_type=content_type, query=query
        )
        assert response.status_code == 200, response.content
        return lines_of(response)

    def refused(self, method: str, path: str, body: Any = None, **given: Any) -> dict[str, Any]:
        """The problem of a refused call, after checking what holds for all of them."""
        response = self.send(method, path, body, **given)
        problem: dict[str, Any] = response.json()
        assert response.status_code >= 400, problem
        assert response.headers["Content-Type"] == PROBLEM
        assert problem["status"] == response.status_code
        assert problem["type"] == f"urn:broodcount:problem:{problem['code']}"
        assert problem["title"] == error_code(problem["code"]).heading
        assert problem["detail"].rstrip("'\"").endswith((".", "?")), problem["detail"]
        return problem

    def combination(self, genes: str, species: str = GECKO, **query: Any) -> Any:
        """The answer for one combination."""
        return self.get(f"combinations/{species}/{genes}/", **query)

    def pages(self, path: str, **query: Any) -> Iterator[list[Any]]:
        """Pages of a list, by their links."""
        answer = self.get(path, **query)
        yield answer["results"]
        while answer["next"] is not None:
            answer = self.get(answer["next"].removeprefix("http://testserver"))
            yield answer["results"]


def joined() -> Api:
    """A new keeper, joined over HTTP."""
    new = Api().post("keepers/", {}, status=201)
    return Api(new["token"], new["keeper"], new["recovery_code"])


def told(problem: Mapping[str, Any]) -> set[tuple[str, str]]:
    """Where and what: (pointer or parameter, code) of every fault of a problem."""
    return {
        (one.get("pointer", one.get("parameter", "")), one["code"]) for one in problem["errors"]
    }


# --- species and clutches ---------------------------------------------------------------------


def gecko() -> LoadResult:
    """The invented demo species, loaded and read once by this process."""
    (result,) = catalogue_load(GECKO_FILE)
    warm()
    return result


def warm() -> None:
    """Read every catalogue version in force, as a process does at its first call of a species."""
    for species in apps.get_model("catalogue", "Species").objects.all():
        version_loaded(species.current_id)


def gecko_changed(change: Any = None) -> LoadResult:
    """The demo species with a changed file, put in force."""
    content = completed(json.loads(GECKO_FILE.read_text("utf-8")))
    if change is None:
        content["notes"] = [{"text": "Changed.", "source": "invented for demonstration"}]
    else:
        change(content)
    result = species_load(content)
    warm()
    return result


def parent(genes: str, animal: str | None = None, **more: Any) -> dict[str, Any]:
    """A sire or dam of a body."""
    return {"genes": genes, **({} if animal is None else {"animal": animal}), **more}


def group(call: str, count: int = 1, *others: str, **more: Any) -> dict[str, Any]:
    """An entry of hatchlings; ``others`` are further readings."""
    return {"call": call, "count": count, **({"or": list(others)} if others else {}), **more}


def clutch(
    sire: Any = "het ashwater",
    dam: Any = "het ashwater",
    hatchlings: Any = None,
    **more: Any,
) -> dict[str, Any]:
    """The body of a clutch; parents as text or as objects, hatchlings as call -> count or list."""
    if hatchlings is None:
        hatchlings = {"normal": 5, "ashwater": 1}
    if isinstance(hatchlings, Mapping):
        hatchlings = [group(call, count) for call, count in hatchlings.items()]
    return {
        "species": GECKO,
        "season": 2025,
        "sire": parent(sire) if isinstance(sire, str) else sire,
        "dam": parent(dam) if isinstance(dam, str) else dam,
        "hatchlings": hatchlings,
        **more,
    }


MANY_GENES: Final = (
    "het ashwater, het pale reed, het quillback, tidemark, brackish, mistveil, wickglow, "
    "copperlatch, bogcoat, het sedge ladder, het dewline"
)
"""Two such parents inform 636 targets, 103 of them with Wickglow in one copy."""


SEVERAL_GENES: Final = (
    "het ashwater, het pale reed, het quillback, tidemark, brackish, mistveil, wickglow"
)
"""Two such parents inform more than a hundred targets."""


def many(animal_sire: str | None = None, animal_dam: str | None = None) -> dict[str, Any]:
    """A clutch of many targets and many hatchling groups."""
    calls = [
        "normal",
        "ashwater",
        "pale reed",
        "quillback",
        "tidemark",
        "super tidemark",
        "brackish",
        "super brackish",
        "mistveil",
        "super mistveil",
        "ashwater pale reed",
        "tidemark brackish",
        "tidemark mistveil",
        "brackish mistveil",
        "quillback tidemark",
        "ashwater tidemark",
    ]
    return clutch(
        parent(MANY_GENES, animal_sire), parent(MANY_GENES, animal_dam), dict.fromkeys(calls, 2)
    )


# --- what is stored ---------------------------------------------------------------------------

_APPS: Final = ("catalogue", "keepers", "pairings", "pools", "clutches")


def stored() -> dict[str, int]:
    """Rows of every table of the registry."""
    return {
        model._meta.label: model._default_manager.count()
        for app in _APPS
        for model in apps.get_app_config(app).get_models()
    }


def statements(captured: CaptureQueriesContext) -> list[str]:
    """SQL statements but BEGIN, COMMIT and savepoints."""
    frame = ("BEGIN", "COMMIT", "ROLLBACK", "SAVEPOINT", "RELEASE")
    return [one["sql"] for one in captured if not one["sql"].upper().startswith(frame)]


def counted(api: Api, method: str, path: str, body: Any = None, **given: Any) -> int:
    """Statements of one successful call."""
    with CaptureQueriesContext(connection) as captured:
        response = api.send(method, path, body, **given)
        assert response.status_code < 300, response
        response.getvalue()  # a file is sent to its end, as a server does
    return len(statements(captured))
