"""The ``ordering`` parameter over HTTP."""

from __future__ import annotations

import pytest
from django.test import Client

from tests.registry.api.calls import Egg, egg_table

pytestmark = [pytest.mark.urls("tests.registry.api.calls"), pytest.mark.django_db]


@pytest.mark.parametrize(
    ("text", "read"),
    [
        ("id", "Read 'id'"),
        ("", "Read ''"),
        ("-n,", "Read ''"),
        ("--n", "Read '--n'"),
        ("n,-n", "Read 'n' more than once"),
    ],
)
def test_strict_ordering_filter__names_what_is_allowed(text: str, read: str) -> None:
    response = Client().get(f"/api/v1/boxes/?ordering={text}")
    assert response.status_code == 400
    problem = response.json()
    assert problem["code"] == "invalid-parameter"
    assert problem["errors"][0]["parameter"] == "ordering"
    assert problem["detail"] == (
        f"parameter ordering: {read}, expected each at most once of n or -n."
    )
    assert problem["allowed"] == ["n", "-n"]


def test_strict_ordering_filter__sorts_by_several_names_and_maps_them() -> None:
    with egg_table():
        for box, note in ((1, "a"), (2, "a"), (1, "b")):
            Egg.objects.create(box=box, note=note)
        found = Client().get("/api/v1/egg-values/?ordering=-text,-box").json()["results"]
        assert [(one["note"], one["box"]) for one in found] == [("b", 1), ("a", 2), ("a", 1)]
        default = Client().get("/api/v1/egg-values/").json()["results"]
        assert [one["box"] for one in default] == [1, 1, 2]
