"""Problems over HTTP: every door leads to the same form."""

from __future__ import annotations

import gzip
import json
import logging
from typing import Any

import pytest
from django.test import Client
from django.utils.encoding import escape_uri_path
from rest_framework.test import APIClient

from genetics import errors as genetics
from registry.api.problems import MEDIA_TYPE, problem_of
from registry.errors import error_code

pytestmark = pytest.mark.urls("tests.registry.api.calls")


def problem(response: Any, status: int, code: str) -> dict[str, Any]:
    """The problem of an answer, after checking what holds for all of them."""
    assert response.status_code == status
    assert response.headers["Content-Type"] == MEDIA_TYPE
    read: dict[str, Any] = json.loads(response.content)
    assert read["type"] == f"urn:broodcount:problem:{code}"
    assert (read["status"], read["code"]) == (status, code)
    assert read["title"] == error_code(code).heading
    assert read["instance"] == escape_uri_path(response.wsgi_request.path)
    assert read["detail"].endswith((".", "?"))
    return read


def raised(name: str, *, method: str = "post") -> Any:
    client = APIClient(raise_request_exception=False)
    return getattr(client, method)(f"/api/v1/raise/{name}/")


@pytest.mark.parametrize(
    ("name", "status", "code", "text"),
    [
        ("counts", 400, "counts-do-not-add-up", "Laid 3, expected at least 5."),
        ("season", 400, "season-out-of-range", "Season 2999 is in the future."),
        ("empty", 400, "empty-clutch", "Neither eggs nor hatchlings were given."),
        ("many", 400, "too-many-hatchlings", "Read 10000 hatchlings, expected at most 200."),
        ("found", 404, "not-found", "No clutch has this id."),
        ("body", 400, "invalid-body", "Neither JSON lines nor CSV."),
        ("catalogue", 500, "catalogue-fault", "The species file names a locus twice."),
        ("bare-model", 400, "invalid-body", "Eggs are missing."),
        ("suspicious", 400, "bad-request", ("The request can not be read: its host, form data or "
         "headers are not as expected.")),
        ("denied", 403, "forbidden", "This keeper may not do this."),
        ("http404", 404, "not-found", ("Nothing is found at /api/v1/raise/http404/. All calls are "
         "listed in /api/v1/openapi.json.")),
    ],
)  # fmt: skip
def test_problem_response__says_what_was_refused(
    name: str, status: int, code: str, text: str
) -> None:
    assert problem(raised(name), status, code)["detail"] == text


def test_problem_response__gives_the_parts_of_a_refusal() -> None:
    read = problem(raised("counts"), 400, "counts-do-not-add-up")
    assert (read["laid"], read["least"], read["errors"]) == (3, 5, [])
    read = problem(raised("alleles"), 400, "too-many-alleles")
    assert (read["locus"], read["genes"]) == ("lamp", ["glim", "glum", "gleam"])
    assert read["detail"] == (
        "An animal carries at most 2 alleles at the locus lamp, but glim, glum and gleam make 3."
    )


def test_problem_response__keeps_its_own_members_from_being_overwritten() -> None:
    read = problem(raised("reserved"), 400, "contradictory-statement")
    assert read["word"] == "glim"


def test_problem_response__places_a_genetics_error_and_lifts_its_parts() -> None:
    read = problem(raised("one-place"), 400, "ambiguous-text")
    assert read["errors"] == [
        {
            "pointer": "#/dam/genes",
            "code": "ambiguous-text",
            "detail": "'dusk' can be read in 2 ways: dusk (old); dusk (new). "
            "Write the one that is meant.",
            "text": "dusk",
            "readings": ["dusk (old)", "dusk (new)"],
        }
    ]
    assert read["readings"] == ["dusk (old)", "dusk (new)"]
    assert read["detail"].startswith("dam/genes: 'dusk' can be read in 2 ways")


def test_problem_response__collects_refusals_of_several_fields() -> None:
    read = problem(raised("two-places"), 400, "invalid-body")
    found = [(one["pointer"], one["code"]) for one in read["errors"]]
    assert found == [
        ("#/sire/genes", "unknown-gene"),
        ("#/groups/2/call", "super-of-recessive"),
    ]
    assert read["errors"][0]["suggestions"] == ["glum"]
    assert read["detail"] == (
        "2 faults were found. The first: sire/genes: 'glim' is no known gene or nickname of the "
        "moss newt. Did you mean glum?"
    )
    assert "suggestions" not in read
    assert len(problem(raised("same-codes"), 400, "super-of-recessive")["errors"]) == 2


def test_problem_response__names_a_part_of_the_path() -> None:
    read = problem(raised("path-part"), 400, "unknown-species")
    assert read["errors"][0]["parameter"] == "species"
    assert read["suggestions"] == ["moss newt"]
    assert read["detail"] == (
        "parameter species: The catalogue has no species 'moss nevt'. Did you mean moss newt?"
    )


@pytest.mark.parametrize("name", ["list-of-dicts", "dict-by-index"])
def test_problem_response__reads_both_shapes_of_list_errors(name: str) -> None:
    read = problem(raised(name), 400, "invalid-body")
    assert [(e["pointer"], e["detail"]) for e in read["errors"]] == [
        ("#/groups/1/count", "Too few.")
    ]


def test_problem_response__points_at_the_whole_body_and_escapes_names() -> None:
    assert problem(raised("whole-body"), 400, "invalid-body")["errors"][0]["pointer"] == "#"
    read = problem(raised("odd-name"), 400, "invalid-body")
    assert read["errors"][0]["pointer"] == "#/a~1b~0c%20%C3%A4"
    read = problem(raised("field-model"), 400, "invalid-body")
    assert [e["pointer"] for e in read["errors"]] == ["#/eggs", "#/season"]


def test_problem_response__takes_faults_of_a_reading_call_for_parameters() -> None:
    read = problem(raised("odd-name", method="get"), 400, "invalid-parameter")
    assert read["errors"][0]["parameter"] == "a/b~c ä"


@pytest.mark.parametrize(
    ("name", "code", "challenge"),
    [
        ("nobody", "not-authenticated", "Bearer"),
        ("rest-nobody", "not-authenticated", "Bearer"),
        ("token", "unknown-token", 'Bearer error="invalid_token"'),
    ],
)
def test_problem_response__asks_for_a_token(name: str, code: str, challenge: str) -> None:
    response = raised(name)
    problem(response, 401, code)
    assert response.headers["WWW-Authenticate"] == challenge


def test_problem_response__says_when_to_try_again() -> None:
    response = raised("throttled")
    assert "8 seconds" in problem(response, 429, "too-many-requests")["detail"]
    assert response.headers["Retry-After"] == "8"


def test_problem_response__names_the_methods_known() -> None:
    response = APIClient().delete("/api/v1/reports/")
    read = problem(response, 405, "method-not-allowed")
    assert read["detail"] == "DELETE is not known here; this call knows POST and OPTIONS."
    assert response.headers["Allow"] == "POST, OPTIONS"


def test_problem_response__names_the_forms_read_and_given() -> None:
    client = Client()
    sent = client.post("/api/v1/reports/", "a=1", content_type="text/plain")
    read = problem(sent, 415, "unsupported-media-type")
    assert read["detail"] == "The body was sent as 'text/plain'; this call reads application/json."
    asked = client.get("/api/v1/plain-error/", headers={"accept": "text/csv"})
    read = problem(asked, 406, "not-acceptable")
    assert read["allowed"] == ["application/json"]


@pytest.mark.parametrize("coding", ["gzip", "br, gzip"])
def test_problem_response__says_that_a_coded_body_is_not_read(coding: str) -> None:
    """RFC 9110, 15.5.16: 415, and Accept-Encoding tells it from a media type that is not read."""
    sent = Client().post(
        "/api/v1/reports/",
        gzip.compress(b"{}"),
        content_type="application/json",
        headers={"content-encoding": coding},
    )
    read = problem(sent, 415, "unsupported-media-type")
    assert f"'Content-Encoding: {coding}'" in read["detail"]
    assert sent.headers["Accept-Encoding"] == "identity"


def test_problem_response__takes_identity_for_no_coding() -> None:
    sent = Client().post(
        "/api/v1/reports/",
        "{",
        content_type="application/json",
        headers={"content-encoding": "Identity"},
    )
    problem(sent, 400, "not-json")


def test_server_error__hides_the_inside_and_logs_it(caplog: pytest.LogCaptureFixture) -> None:
    with caplog.at_level(logging.ERROR, logger="django.request"):
        response = raised("bug")
    read = problem(response, 500, "server-error")
    assert "secret" not in response.content.decode()
    assert read["detail"] == "The service failed; the fault is logged there."
    assert any("secret of the inside" in str(record.exc_info) for record in caplog.records)


def test_catalogue_fault__is_logged(caplog: pytest.LogCaptureFixture) -> None:
    raised("catalogue")
    assert "catalogue-fault: The species file names a locus twice." in caplog.text


@pytest.mark.parametrize(
    ("name", "status", "code"),
    [
        ("denied", 403, "forbidden"),
        ("suspicious", 400, "bad-request"),
        ("bug", 500, "server-error"),
        ("teapot", 418, "bad-request"),
    ],
)
def test_handlers__answer_for_plain_django_views(name: str, status: int, code: str) -> None:
    response = Client(raise_request_exception=False).get(f"/django/{name}/")
    problem(response, status, code)
    assert b"inside" not in response.content


def test_not_found__answers_an_unknown_address() -> None:
    read = problem(Client().get("/api/v1/no such/"), 404, "not-found")
    assert read["detail"].startswith("Nothing is found at /api/v1/no%20such/.")


def test_not_found__points_out_a_missing_slash(settings: Any) -> None:
    settings.APPEND_SLASH = False
    read = problem(Client().post("/api/v1/reports"), 404, "not-found")
    assert read["detail"].endswith(" Did you mean /api/v1/reports/?")


def every_child(kind: type[genetics.GeneticsError]) -> list[type[genetics.GeneticsError]]:
    return [one for child in kind.__subclasses__() for one in (child, *every_child(child))]


def test_problem_of__knows_the_code_of_every_genetics_error() -> None:
    kinds = every_child(genetics.GeneticsError)
    assert len(kinds) > 10
    for kind in kinds:
        assert error_code(kind.code)


def test_problem_of__leaves_what_is_nobodys_fault() -> None:
    assert problem_of(RuntimeError("x")) is None
