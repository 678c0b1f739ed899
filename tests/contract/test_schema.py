"""The whole interface against its OpenAPI document: made-up calls, with and without a token.

schemathesis sends what the document allows and what it forbids, in process through WSGI. Any 5xx
fails, and so does a status, header, media type or body that is not as documented.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from contextlib import contextmanager
from random import Random
from typing import Any

import pytest
import schemathesis
from django.core.signals import request_finished, request_started
from django.db import close_old_connections
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis.errors import Unsatisfiable
from hypothesis.strategies import randoms
from openapi_spec_validator import OpenAPIV31SpecValidator
from schemathesis.checks import CHECKS, load_all_checks
from schemathesis.generation.modes import GenerationMode

from registry.wsgi import application
from tests.factories.registry import (
    GECKO,
    JSON_LINES,
    Api,
    check_documented,
    clutch,
    gecko,
    group,
    joined,
    openapi,
    parent,
)

pytestmark = pytest.mark.django_db

CALLS_OF_THE_DESIGN = {
    "get": {
        "species/",
        "species/{species}/genes/",
        "keepers/me/",
        "pairings/",
        "clutches/",
        "clutches/{clutch_id}/",
        "clutches/bulk/template/",
        "combinations/{species}/{genes}/",
        "combinations/{species}/{genes}/history/",
        "combinations/",
        "flags/",
    },
    "post": {
        "notation/",
        "forecasts/",
        "clutch-checks/",
        "keepers/",
        "pairings/",
        "clutches/",
        "clutches/bulk/",
    },
    "delete": {"clutches/{clutch_id}/"},
}
"""Calls by their fixed names; those of later releases join when they exist."""

# A body may have the right shape and still say what can not be: counts that do not add up, words
# that are no genes. A document can not tell these, so what it allows may be refused.
NOT_TOLD_BY_A_SCHEMA = {"positive_data_acceptance"}

load_all_checks()
EXCLUDED = [one for one in CHECKS.get_all() if one.__name__ in NOT_TOLD_BY_A_SCHEMA]
# For bodies that were given other words here: they are no longer what was made to be wrong. And for
# many clutches at once, where each line is refused by itself and the call answers with 200.
(negative_data_rejection,) = CHECKS.get_by_names(["negative_data_rejection"])
N_EXAMPLES = 12
MANY_AT_ONCE = "/api/v1/clutches/bulk/"

WORDS = (
    "ashwater",
    "het ashwater",
    "66% het reed",
    "poss het reed",
    "normal",
    "super tidemark",
    "estuary",
    "het ashwater reed",
    "quilback",
    "copperlatch",
    "wickglow",
    "nightferry",
)

# Optional parts whose words must fit those of other fields.
RARELY_RIGHT = {
    "unproven",
    "proven",
    "phase",
    "on_chromosome",
    "inherited_from",
    "pedigree",
    "weights",
}


@schemathesis.serializer(*JSON_LINES)
def as_lines(_context: Any, value: Any) -> bytes:
    """An array as JSON lines; what was made to be no array as a line of its own."""
    items = value if isinstance(value, list) else [value]
    return "".join(f"{json.dumps(one)}\n" for one in items).encode()


@schemathesis.deserializer(*JSON_LINES)
def from_lines(_context: Any, response: Any) -> Any:
    """JSON lines as the array that the document describes."""
    return [json.loads(line) for line in response.content.splitlines()]


def operations() -> dict[str, Any]:
    """Operations of the document, by method and path."""
    schema = schemathesis.openapi.from_wsgi("/api/v1/openapi.json", application)
    found = [result.ok() for result in schema.get_all_operations()]
    return {f"{one.method.upper()} {one.path}": one for one in found}


OPERATIONS = operations()


@contextmanager
def connection_kept() -> Iterator[None]:
    """As in Django's own test client: the ends of requests would close the test's connection."""
    signals = (request_started, request_finished)
    for signal in signals:
        signal.disconnect(close_old_connections)
    try:
        yield
    finally:
        for signal in signals:
            signal.connect(close_old_connections)


@pytest.fixture
def keeper() -> Api:
    """The demo species with some clutches, so that reads have something to answer with."""
    gecko()
    keeper = joined()
    keeper.post("clutches/", clutch(hatchlings={"normal": 12}))
    keeper.post(
        "clutches/", clutch(parent("het reed", "m-1"), "reed", [group("reed", 3, "normal")])
    )
    keeper.post(
        "pairings/",
        {"species": GECKO, "season": 2025, "sire": parent("reed"), "dam": parent("reed")},
    )
    return keeper


def meant(value: Any, chosen: Random, clutch_id: str, name: str = "") -> Any:
    """The same shape with words that mean something, so that a call gets past the catalogue."""
    if isinstance(value, dict):
        return {
            key: meant(inner, chosen, clutch_id, key)
            for key, inner in value.items()
            if key not in RARELY_RIGHT
        }
    if isinstance(value, list):
        return [meant(inner, chosen, clutch_id, name) for inner in value]
    if isinstance(value, str):
        if name in {"genes", "call", "or", "text", "wanted"}:
            return chosen.choice(WORDS)
        return {"species": GECKO, "clutch_id": clutch_id, "pairing": None}.get(name, value)
    if isinstance(value, int):
        fitting = {"season": 2000 + value % 26, "count": value % 20 + 1}
        return fitting.get(name, None if name in {"laid", "infertile", "died"} else value)
    return value


def validated(operation: Any, mode: GenerationMode, keeper: Api, *, clutch_id: str = "") -> int:
    """Send made-up calls and hold every answer against the document; how many were answered 2xx.

    With a ``clutch_id``, the words of the calls are replaced by ones that mean something.
    """
    n_successes = 0
    headers = {"Authorization": f"Bearer {keeper.token}"} if keeper.token else {}
    not_as_made = clutch_id or operation.path == MANY_AT_ONCE
    excluded = [*EXCLUDED, negative_data_rejection] if not_as_made else EXCLUDED

    @settings(
        max_examples=N_EXAMPLES,
        deadline=None,
        database=None,
        derandomize=True,
        phases=[Phase.explicit, Phase.generate],
        suppress_health_check=list(HealthCheck),
    )
    @given(case=operation.as_strategy(generation_mode=mode), chosen=randoms())
    def run(case: Any, chosen: Random) -> None:
        nonlocal n_successes
        if clutch_id:
            case.path_parameters = meant(case.path_parameters, chosen, clutch_id)
            case.body = meant(case.body, chosen, clutch_id)
            bodies = case.body if isinstance(case.body, list) else [case.body]
            for body in bodies if "/clutch" in case.path else ():
                if not isinstance(body, dict):
                    continue
                wanting = {
                    "sire": parent("reed"),
                    "dam": parent("reed"),
                    "hatchlings": [group("reed")],
                }
                body |= {key: one for key, one in wanting.items() if not body.get(key)}
        response = case.call_and_validate(headers=headers, excluded_checks=excluded)
        n_successes += response.status_code < 300

    with connection_kept():
        run()
    return n_successes


@pytest.mark.parametrize("signed", [True, False], ids=["keeper", "nobody"])
@pytest.mark.parametrize("mode", list(GenerationMode), ids=lambda mode: mode.value)
@pytest.mark.parametrize("name", OPERATIONS)
def test_call__answers_as_documented(keeper, name, mode, signed):
    try:
        validated(OPERATIONS[name], mode, keeper if signed else Api())
    except Unsatisfiable:
        # Nothing can be wrong with a call that takes nothing, or a text in its path alone.
        assert mode is GenerationMode.NEGATIVE
        assert name.removeprefix("GET /api/v1/") in {
            "",
            "keepers/me/",
            "species/{species}/",
            "clutches/bulk/template/",
        }


@pytest.mark.parametrize("name", [one for one in OPERATIONS if "DELETE" not in one])
def test_call__with_words_that_mean_something_answers_as_documented(keeper, name):
    clutch_id = keeper.get("clutches/")["results"][0]["id"]
    assert validated(OPERATIONS[name], GenerationMode.POSITIVE, keeper, clutch_id=clutch_id)


def test_document__is_valid_and_names_every_call_of_the_interface():
    document = Api().get("openapi.json")
    OpenAPIV31SpecValidator(document).validate()
    assert document["openapi"].startswith("3.1")
    for method, paths in CALLS_OF_THE_DESIGN.items():
        for path in paths:
            assert method in document["paths"].get(f"/api/v1/{path}", {}), f"{method} {path}"


def test_document__names_members_of_the_design():
    schemas = openapi()["components"]["schemas"]
    assert {"canonical", "genes"} <= set(schemas["Notation"]["properties"])
    assert {"looks", "wanted", "cautions"} <= set(schemas["Forecast"]["properties"])
    assert set(schemas["Combination"]["properties"]) >= {
        "species",
        "combination",
        "state",
        "produced",
        "tried",
        "evidence",
        "recovery",
        "explanations",
        "related",
        "cautions",
        "method",
    }
    assert set(schemas["Evidence"]["properties"]) >= {
        "e_value",
        "e_value_declared_only",
        "e_value_specific",
        "without_top_keeper",
        "unreported_successes_to_undo",
    }
    assert {"estimate", "low", "high", "level"} <= set(schemas["Recovery"]["properties"])
    assert {"name", "probability", "called_as"} <= set(schemas["Explanation"]["properties"])
    assert schemas["ExplanationEnum"]["enum"] == [
        "as-catalogued",
        "parent-not-carrying",
        "look-alike",
        "linked-in-repulsion",
        "reduced-viability",
        "gene-shortage",
    ]
    assert schemas["StateEnum"]["enum"] == [
        "no-reports",
        "too-early",
        "as-expected",
        "watch",
        "flagged",
    ]
    assert {"keeper", "token", "recovery_code"} == set(schemas["NewKeeper"]["properties"])
    assert {"reading", "contradicts_parents"} <= set(schemas["HatchlingsOut"]["properties"])


def test_document__of_http_is_the_one_that_answers_are_held_against():
    served = Api().get("openapi.json")
    assert served["paths"] == openapi()["paths"]
    assert served["components"] == openapi()["components"]


def test_answers_that_are_not_documented__are_noticed():
    """The check of these tests can fail: a member that the document does not name is one."""
    gecko()
    response = Api().send("get", f"species/{GECKO}/")
    body = response.json()
    for changed in (body | {"colour": "green"}, {"species": GECKO}, body | {"kind": "odd"}):
        response.content = json.dumps(changed).encode()
        with pytest.raises(AssertionError):
            check_documented(response, "get")
