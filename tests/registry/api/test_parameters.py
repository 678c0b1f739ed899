"""Unknown, repeated and impossible query parameters."""

from __future__ import annotations

import json
from typing import Any

import pytest
from django.test import Client

from tests.registry.api.calls import egg_table

pytestmark = pytest.mark.urls("tests.registry.api.calls")


def refused(address: str, code: str) -> dict[str, Any]:
    response = Client().get(address)
    read: dict[str, Any] = json.loads(response.content)
    assert (response.status_code, read["code"]) == (400, code)
    return read


def test_known_parameters__names_all_of_a_list() -> None:
    read = refused("/api/v1/eggs/?boxx=1", "unknown-parameter")
    known = ["box", "cursor", "lens", "note", "ordering", "page_size", "weight_max", "weight_min"]
    assert read["known"] == known
    assert read["suggestions"] == ["box"]
    assert read["detail"] == (
        "parameter boxx: There is no parameter 'boxx' here; this call knows box, cursor, lens, "
        "note, ordering, page_size, weight_max and weight_min. Did you mean box?"
    )


def test_known_parameters__names_every_unknown_one() -> None:
    read = refused("/api/v1/eggs/?a=1&format=json", "unknown-parameter")
    assert [one["parameter"] for one in read["errors"]] == ["a", "format"]


def test_known_parameters__refuses_a_repeated_one() -> None:
    read = refused("/api/v1/eggs/?box=1&box=2", "invalid-parameter")
    assert read["detail"] == "parameter box: The parameter is given 2 times, expected once."


@pytest.mark.django_db
def test_known_parameters__lets_a_filter_of_many_values_be_repeated() -> None:
    with egg_table():
        assert Client().get("/api/v1/eggs/?note=a&note=b&lens=1&weight_min=1").json() == {
            "next": None,
            "previous": None,
            "results": [],
        }


def test_known_parameters__knows_none_for_a_writing_call() -> None:
    response = Client().post("/api/v1/reports/?page_size=1", "{}", "application/json")
    assert response.json()["detail"] == (
        "parameter page_size: There is no parameter 'page_size' here; this call knows no parameter."
    )


@pytest.mark.parametrize(
    ("query", "parameter"), [("box=many", "box"), ("note=c", "note"), ("weight_min=x", "weight")]
)
def test_strict_filter_backend__names_the_parameter(query: str, parameter: str) -> None:
    read = refused(f"/api/v1/eggs/?{query}", "invalid-parameter")
    assert read["errors"][0]["parameter"] == parameter


@pytest.mark.parametrize("text", ["0", "201", "-1", "1.0", "", "x", "٣", "9" * 5000])
def test_parameter_number__refuses_what_is_out_of_range(text: str) -> None:
    read = refused(f"/api/v1/eggs/?page_size={text}", "invalid-parameter")
    assert read["detail"].endswith("expected a whole number from 1 to 200.")
    assert read["errors"][0]["parameter"] == "page_size"
