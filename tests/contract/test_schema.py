"""The whole interface against its OpenAPI document: made-up calls, with and without a token.

schemathesis sends what the document allows and what it forbids, in process through WSGI. Any 5xx
fails, and so does a status, header, media type or body that is not as documented.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
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
    ANY_STATE,
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
        "keepers/me/export/",
        "keepers/me/tokens/",
        "keepers/me/tokens/{token_id}/",
        "keepers/erasures/{receipt}/",
        "pairings/",
        "clutches/",
        "clutches/{clutch_id}/",
        "clutches/bulk/template/",
        "combinations/{species}/{genes}/",
        "combinations/{species}/{genes}/history/",
        "combinations/",
        "flags/",
        "exports/",
        "exports/pools/{species}.csv",
        "feeds/flags.atom",
        "feeds/flags/{species}.atom",
        "feeds/combinations/{species}/{genes}.atom",
    },
    "post": {
        "notation/",
        "forecasts/",
        "clutch-checks/",
        "keepers/",
        "keepers/recoveries/",
        "keepers/me/tokens/",
        "keepers/me/recovery-code/",
        "pairings/",
        "clutches/",
        "clutches/bulk/",
    },
    "delete": {"clutches/{clutch_id}/", "keepers/me/", "keepers/me/tokens/{token_id}/"},
}
"""Calls by their fixed names; those of later releases join when they exist."""

# A body may have the right shape and still say what can not be: counts that do not add up, words
# that are no genes. A document can not tell these, so what it allows may be refused.
NOT_TOLD_BY_A_SCHEMA = {"positive_data_acceptance"}

NOTHING_TO_GET_WRONG = {
    "keepers/erasures/{receipt}/",
    "",
    "keepers/me/",
    "species/{species}/",
    "exports/",
    "exports/pools/{species}.csv",
    "feeds/flags.atom",
    "feeds/flags/{species}.atom",
    "feeds/combinations/{species}/{genes}.atom",
    "clutches/bulk/template/",
}

load_all_checks()
EXCLUDED = [one for one in CHECKS.get_all() if one.__name__ in NOT_TOLD_BY_A_SCHEMA]
# For bodies that were given other words here: they are no longer what was made to be wrong. And for
# many clutches at once, where each line is refused by itself and the call answers with 200.
(negative_data_rejection,) = CHECKS.get_by_names(["negative_data_rejection"])
WAYS = 5
"""With and without a token, right and wrong; and with words that mean something."""
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
def n_examples(pytestconfig: pytest.Config) -> int:
    """Examples of one way to call, of those that ``--examples`` asks of an operation."""
    return -(-int(pytestconfig.getoption("--examples")) // WAYS)


@pytest.fixture
def keeper() -> Api:
    """The demo species with some clutches, so that reads have something to answer with."""
    gecko()
    keeper = joined()
    keeper.post("clutches/", clutch(hatchlings={"normal": 12}))
    keeper.post(
        "clutches/", clutch(parent("het reed", "m-1"), "reed", [group("reed", 3, "normal")])
    )
    coded = clutch(clutch_code="shared", hatchlings={"normal": 3})
    joined().post("clutches/", coded)
    keeper.post("clutches/", coded)
    joined().post("clutches/", clutch(clutch_code="of somebody", hatchlings={"normal": 3}))
    keeper.post(
        "pairings/",
        {"species": GECKO, "season": 2025, "sire": parent("reed"), "dam": parent("reed")},
    )
    return keeper


def meant(value: Any, chosen: Random, known: Mapping[str, Any], name: str = "") -> Any:
    """The same shape with words that mean something, so that a call gets past the catalogue."""
    if isinstance(value, dict):
        return {
            key: meant(inner, chosen, known, key)
            for key, inner in value.items()
            if key not in RARELY_RIGHT
        }
    if isinstance(value, list):
        return [meant(inner, chosen, known, name) for inner in value]
    if isinstance(value, str):
        if name in {"genes", "call", "or", "text", "wanted"}:
            return chosen.choice(WORDS)
        return {"species": GECKO, "pairing": None, **known}.get(name, value)
    if isinstance(value, int):
        fitting = {"season": 2000 + value % 26, "count": value % 20 + 1}
        return fitting.get(name, None if name in {"laid", "infertile", "died"} else value)
    return value


def _says_nothing(query: Any) -> bool:
    """Whether a parameter of a query is sent as no text at all."""
    return isinstance(query, dict) and any(value in ([], {}) for value in query.values())


def validated(
    operation: Any,
    mode: GenerationMode,
    keeper: Api,
    *,
    n_examples: int,
    known: Mapping[str, Any] | None = None,
) -> int:
    """Send made-up calls and hold every answer against the document; how many were answered 2xx.

    With ``known`` ids and codes, the words of the calls are replaced by ones that mean something.
    """
    n_successes = 0
    headers = {"Authorization": f"Bearer {keeper.token}"} if keeper.token else {}
    not_as_made = known or operation.path == MANY_AT_ONCE
    excluded = [*EXCLUDED, negative_data_rejection] if not_as_made else EXCLUDED

    @settings(
        max_examples=n_examples,
        deadline=None,
        database=None,
        derandomize=True,
        phases=[Phase.explicit, Phase.generate],
        suppress_health_check=list(HealthCheck),
    )
    @given(case=operation.as_strategy(generation_mode=mode), chosen=randoms())
    def run(case: Any, chosen: Random) -> None:
        nonlocal n_successes
        if known:
            case.path_parameters = meant(case.path_parameters, chosen, known)
            case.body = meant(case.body, chosen, known)
            if case.path.endswith("/second-opinions/") and isinstance(case.body, dict):
                case.body |= {"season": 2025, "hatchlings": [group("normal", 3)]}
            elif case.path.endswith("/revisions/") and isinstance(case.body, dict):
                case.body = {"eggs": {"died": chosen.randint(0, 9)}}
            elif "/clutch" in case.path:
                wanting = {
                    "sire": parent("reed"),
                    "dam": parent("reed"),
                    "hatchlings": [group("reed")],
                }
                for one in case.body if isinstance(case.body, list) else [case.body]:
                    if isinstance(one, dict):
                        one |= {name: it for name, it in wanting.items() if not one.get(name)}
        # What was to make the call wrong may leave nothing on the way: an empty list in a query.
        left_out = [negative_data_rejection] if _says_nothing(case.query) else []
        response = case.call_and_validate(headers=headers, excluded_checks=[*excluded, *left_out])
        n_successes += response.status_code < 300

    with connection_kept():
        run()
    return n_successes


@pytest.mark.parametrize("signed", [True, False], ids=["keeper", "nobody"])
@pytest.mark.parametrize("mode", list(GenerationMode), ids=lambda mode: mode.value)
@pytest.mark.parametrize("name", OPERATIONS)
def test_call__answers_as_documented(keeper, name, mode, signed, n_examples):
    try:
        validated(OPERATIONS[name], mode, keeper if signed else Api(), n_examples=n_examples)
    except Unsatisfiable:
        # Nothing can be wrong with a call that takes nothing, or a text in its path alone.
        assert mode is GenerationMode.NEGATIVE
        assert name.partition("/api/v1/")[2] in NOTHING_TO_GET_WRONG


@pytest.mark.parametrize("name", [one for one in OPERATIONS if "DELETE" not in one])
def test_call__with_words_that_mean_something_answers_as_documented(keeper, name, n_examples):
    known = {
        "clutch_id": keeper.get("clutches/")["results"][0]["id"],
        "animal_id": keeper.get("animals/")["results"][0]["id"],
        "duplicate_id": keeper.get("duplicates/")["results"][0]["id"],
        "clutch_code": "of somebody",
        "gene": "reed",
        "was": None,
        "opinion": None,
        "token_id": keeper.get("keepers/me/tokens/")["results"][0]["id"],
        "receipt": joined().send("delete", "keepers/me/", headers=ANY_STATE).json()["receipt"],
        "recovery_code": keeper.recovery_code,
        "expires_on": None,
    }
    mode = GenerationMode.POSITIVE
    assert validated(OPERATIONS[name], mode, keeper, known=known, n_examples=n_examples)


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
