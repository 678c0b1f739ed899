"""The OpenAPI document of the calls of these tests."""

from __future__ import annotations

from typing import Any

import pytest
from django.test import Client
from jsonschema import Draft202012Validator
from openapi_spec_validator import OpenAPIV31SpecValidator, validate

pytestmark = pytest.mark.urls("tests.registry.api.calls_with_index")


@pytest.fixture
def document() -> dict[str, Any]:
    response = Client().get("/api/v1/openapi.json")
    assert response.headers["Content-Type"].startswith("application/json")
    read: dict[str, Any] = response.json()
    return read


def test_document__is_openapi_3_1(document: dict[str, Any]) -> None:
    assert document["openapi"].startswith("3.1")
    validate(document, cls=OpenAPIV31SpecValidator)


def test_document__gives_problems_for_every_operation(document: dict[str, Any]) -> None:
    operations = [operation for item in document["paths"].values() for operation in item.values()]
    assert len(operations) >= 8
    for operation in operations:
        for status in ("400", "406", "429", "500"):
            name = operation["responses"][status]["$ref"].rsplit("/", 1)[1]
            content = document["components"]["responses"][name]["content"]
            assert content == {
                "application/problem+json": {"schema": {"$ref": "#/components/schemas/Problem"}}
            }
    post = document["paths"]["/api/v1/reports/"]["post"]["responses"]
    assert {"413", "415"} <= set(post)
    assert "404" in document["paths"]["/api/v1/raise/{name}/"]["get"]["responses"]
    assert "404" not in post


def test_document__closes_strict_bodies_and_leaves_answers_open(document: dict[str, Any]) -> None:
    schemas = document["components"]["schemas"]
    for name in ("ReportRequest", "SideRequest", "GroupRequest"):
        assert schemas[name]["additionalProperties"] is False
    assert "additionalProperties" not in schemas["Report"]
    count = schemas["GroupRequest"]["properties"]["count"]
    assert (count["minimum"], count["maximum"]) == (1, 200)
    assert "id" not in schemas["ReportRequest"]["properties"]


def test_document__describes_lists(document: dict[str, Any]) -> None:
    listing = document["paths"]["/api/v1/eggs/"]["get"]
    named = {one["name"]: one for one in listing["parameters"]}
    assert {"cursor", "page_size", "ordering", "box"} <= set(named)
    assert "-box" in named["ordering"]["schema"]["items"]["enum"]
    answer = listing["responses"]["200"]
    assert answer["headers"]["Link"] == {"$ref": "#/components/headers/Link"}
    page = answer["content"]["application/json"]["schema"]["$ref"].rsplit("/", 1)[1]
    assert set(document["components"]["schemas"][page]["properties"]) == {
        "next",
        "previous",
        "results",
    }


def test_document__has_one_scheme_for_tokens(document: dict[str, Any]) -> None:
    schemes = document["components"]["securitySchemes"]
    assert schemes["keeperToken"]["scheme"] == "bearer"
    assert document["paths"]["/api/v1/kept/"]["get"]["security"] == [{"keeperToken": []}]
    assert "401" in document["paths"]["/api/v1/kept/"]["get"]["responses"]


@pytest.mark.parametrize("name", ["two-places", "counts", "odd-name", "found"])
def test_problem_schema__fits_real_problems(document: dict[str, Any], name: str) -> None:
    validator = Draft202012Validator(document["components"]["schemas"]["Problem"])
    validator.validate(Client().post(f"/api/v1/raise/{name}/").json())
    assert not validator.is_valid({"detail": "x"})
