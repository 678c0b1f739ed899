"""Bodies of the wrong shape, over HTTP: fields, unknown fields, nesting."""

from __future__ import annotations

from typing import Any

import pytest
from rest_framework.test import APIClient

from registry.api.fields import SOME_ID

pytestmark = pytest.mark.urls("tests.registry.api.calls")

GOOD: dict[str, Any] = {
    "season": 2026,
    "sire": {"genes": " glim ", "proven": True},
    "groups": [{"call": "glum", "count": 3, "weights": [0, 0.5, 1]}],
}


def refused(body: Any) -> dict[str, tuple[str, str]]:
    """Pointer -> code and text."""
    response = APIClient().post("/api/v1/reports/", body, format="json")
    assert response.status_code == 400
    assert response.headers["Content-Type"] == "application/problem+json"
    return {one["pointer"]: (one["code"], one["detail"]) for one in response.json()["errors"]}


def test_strict_serializer__gives_validated_values_with_texts_stripped() -> None:
    response = APIClient().post("/api/v1/reports/", GOOD, format="json")
    assert response.status_code == 201
    assert response.json() == {**GOOD, "sire": {"genes": "glim", "proven": True}}


@pytest.mark.parametrize("count", [True, 3.0, 3.5, "3", None, [3], {}, 0, 201, -1, 10**30])
def test_count_field__takes_whole_numbers_in_range_only(count: Any) -> None:
    errors = refused({**GOOD, "groups": [{"call": "glum", "count": count}]})
    code, text = errors["#/groups/0/count"]
    assert code == "invalid-body"
    assert text.startswith("Read ")
    assert text.endswith(("expected a whole number from 1 to 200.", "expected a value."))


@pytest.mark.parametrize(
    ("change", "pointer", "text"),
    [
        ({"sire": {"genes": 5}}, "#/sire/genes", "Read 5, expected a text."),
        ({"sire": {"genes": "  "}}, "#/sire/genes",
         "Read an empty text, expected at least one character."),
        ({"sire": {"genes": "g" * 21}}, "#/sire/genes",
         "Read a text of 21 characters, expected at most 20."),
        ({"sire": {"genes": "g", "proven": 1}}, "#/sire/proven", "Read 1, expected true or false."),
        ({"sire": "glim"}, "#/sire", "Read 'glim', expected an object."),
        ({"sire": None}, "#/sire", "Read null, expected a value."),
        ({"sire": {}}, "#/sire/genes", "The field is missing."),
        ({"sex": "femal"}, "#/sex", "Read 'femal', expected female, male or unknown."),
        ({"sex": 1}, "#/sex", "Read 1, expected female, male or unknown."),
        ({"sex": "A" * 100}, "#/sex",
         f"Read '{'A' * 59}..., expected female, male or unknown."),
        ({"groups": {}}, "#/groups", "Read an object, expected a list."),
        ({"groups": "glum"}, "#/groups", "Read 'glum', expected a list."),
        ({"groups": [None]}, "#/groups/0", "Read null, expected a value."),
        ({"groups": [{"call": "g", "count": 1, "weights": [0, 0, 0, 0]}]}, "#/groups/0/weights",
         "Read a list of 4 entries, expected at most 3."),
        ({"lenses": ["a"]}, "#/lenses", "Read a list of 1 entry, expected 2."),
        ({"lenses": ["a", None]}, "#/lenses/1", "Read null, expected a value."),
        ({"boxes": []}, "#/boxes", "Read a list, expected an object."),
        ({"boxes": {"a": None}}, "#/boxes/a", "Read null, expected a value."),
        *(
            ({"pair": one}, "#/pair",
             f"Read {said}, expected the id of a pair of newts, such as {SOME_ID!r}.")
            for one, said in (("zzz", "'zzz'"), (7, "7"), ({}, "an object"), ([], "a list"))
        ),
        ({"groups": [3]}, "#/groups/0", "Read 3, expected an object."),
        ({"groups": [{"call": "g", "count": 1, "weights": [0, 1.5]}]}, "#/groups/0/weights/1",
         "Read 1.5, expected a number from 0 to 1."),
        ({"groups": [{"call": "g", "count": 1, "weights": [True]}]}, "#/groups/0/weights/0",
         "Read true, expected a number from 0 to 1."),
    ],
)  # fmt: skip
def test_fields__say_what_was_read_and_expected(
    change: dict[str, Any], pointer: str, text: str
) -> None:
    assert refused({**GOOD, **change}) == {pointer: ("invalid-body", text)}


def test_strict_serializer__refuses_a_body_that_is_no_object() -> None:
    assert refused([GOOD]) == {"#": ("invalid-body", "Read a list, expected an object.")}
    response = APIClient().post("/api/v1/reports/", "null", content_type="application/json")
    assert (response.status_code, response.json()["detail"]) == (
        400,
        "Read null, expected an object.",
    )
    assert response.json()["errors"][0]["pointer"] == "#"


def test_strict_serializer__refuses_unknown_fields_with_the_nearest_name() -> None:
    body = {**GOOD, "seazon": 1, "id": "x", "groups": [{"call": "g", "count": 1, "cuont": 2}]}
    errors = refused(body)
    assert errors["#/seazon"] == (
        "unknown-field",
        (
            "There is no field 'seazon' here; known are season, sex, sire, groups, lenses, boxes "
            "and pair. Did you mean season?"
        ),
    )
    assert errors["#/groups/0/cuont"][1].endswith("Did you mean count?")
    assert errors["#/id"][0] == "unknown-field"
    response = APIClient().post("/api/v1/reports/", {**GOOD, "seazon": 1}, format="json")
    assert response.json()["code"] == "unknown-field"
    assert response.json()["suggestions"] == ["season"]


def test_strict_serializer__names_all_faults_at_once() -> None:
    errors = refused({"season": 0, "sire": {"gene": "x"}, "groups": [{}, {"count": 1}]})
    assert set(errors) == {
        "#/season",
        "#/sire/genes",
        "#/sire/gene",
        "#/groups/0/call",
        "#/groups/0/count",
        "#/groups/1/call",
    }


def test_name_field__offers_the_names() -> None:
    response = APIClient().post("/api/v1/reports/", {**GOOD, "sex": "femal"}, format="json")
    assert response.json()["allowed"] == ["female", "male", "unknown"]
    assert response.json()["suggestions"] == ["female", "male"]
