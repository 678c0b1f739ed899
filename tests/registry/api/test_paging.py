"""Walking through lists by their links, over HTTP."""

from __future__ import annotations

import random
import re
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from typing import Any
from urllib.parse import parse_qs, urlsplit

import pytest
from django.core.exceptions import ImproperlyConfigured
from django.db import connection
from django.db.models import F
from django.test import Client
from django.test.utils import CaptureQueriesContext

from registry.api.keyset import order_columns, packed_value, unpacked_value
from tests.registry.api.calls import Egg, egg_table

pytestmark = [pytest.mark.urls("tests.registry.api.calls"), pytest.mark.django_db]

NOTES = ["a", "b", "B", "é", "", None]


@pytest.fixture
def eggs() -> Iterator[list[Egg]]:
    """157 rows: few different values, many missing ones."""
    draw = random.Random(8)
    start = datetime(2026, 1, 1, tzinfo=UTC)
    with egg_table():
        yield Egg.objects.bulk_create(
            Egg(
                box=draw.randrange(3),
                note=draw.choice(NOTES),
                weight=draw.choice([None, 0.1, 0.2, 0.1 + 0.2, 1e-300, -5.5]),
                laid_at=draw.choice([None, start, start + timedelta(microseconds=1)]),
                price=draw.choice([None, Decimal("0.10"), Decimal("12.34")]),
            )
            for _ in range(157)
        )


def walk(address: str, direction: str = "next") -> Iterator[dict[str, Any]]:
    """Pages along the links; the header says the same as the body."""
    url: str | None = address
    while url:
        response = Client().get(url)
        assert response.status_code == 200, response.content
        page = response.json()
        header = response.headers.get("Link", "")
        links = {rel: to for to, rel in re.findall(r'<([^>]*)>; rel="(\w+)"', header)}
        assert links == {
            rel: to for rel, to in (("next", page["next"]), ("prev", page["previous"])) if to
        }
        yield page
        url = page[direction]


def rows(pages: list[dict[str, Any]]) -> list[dict[str, Any]]:
    return [row for page in pages for row in page["results"]]


def expected_order(ordering: str) -> list[int]:
    """Ids in the order asked for, by Python: missing last, then by id. A second way to sort."""
    column = {"text": "note", "laid": "laid_at", "public": "public_id"}
    found = sorted(Egg.objects.all(), key=lambda egg: egg.pk)
    for term in reversed(ordering.split(",")):
        name = term.lstrip("-")
        attribute = column.get(name, name)
        given = [egg for egg in found if getattr(egg, attribute) is not None]
        missing = [egg for egg in found if getattr(egg, attribute) is None]
        given.sort(key=lambda egg: getattr(egg, attribute), reverse=term.startswith("-"))
        found = given + missing
    return [egg.pk for egg in found]


@pytest.mark.parametrize(
    "ordering",
    ["box", "-box", "-text", "weight,-box", "-weight", "laid,text", "-laid", "price",
     "-price,-text", "public", "-public"],
)  # fmt: skip
@pytest.mark.usefixtures("eggs")
def test_keyset_pagination__gives_every_row_once_in_order(ordering: str) -> None:
    pages = list(walk(f"/api/v1/eggs/?page_size=10&ordering={ordering}"))
    found = [row["id"] for row in rows(pages)]
    assert len(pages) == 16
    assert found == expected_order(ordering)
    back = list(walk(pages[-1]["previous"], "previous"))
    again = [row["id"] for page in reversed(back) for row in page["results"]]
    assert again == found[:150]
    assert back[-1]["previous"] is None


@pytest.mark.usefixtures("eggs")
def test_keyset_pagination__leaves_dict_rows_as_the_selector_made_them() -> None:
    found = rows(list(walk("/api/v1/egg-values/?page_size=7&ordering=text")))
    assert len(found) == 157
    assert len({row["public_id"] for row in found}) == 157
    assert set(found[0]) == {"box", "note", "public_id"}


@pytest.mark.usefixtures("eggs")
def test_keyset_pagination__pages_grouped_rows_by_their_own_key() -> None:
    found = rows(list(walk("/api/v1/boxes/?page_size=1")))
    counts = {box: Egg.objects.filter(box=box).count() for box in range(3)}
    assert {row["box"]: row["n"] for row in found} == counts
    assert [row["n"] for row in found] == sorted(counts.values(), reverse=True)


@pytest.mark.parametrize("address", ["eggs", "egg-values"])
def test_keyset_pagination__loses_none_of_3000_equal_rows(address: str) -> None:
    with egg_table():
        Egg.objects.bulk_create(Egg(box=7, note="same") for _ in range(3000))
        pages = list(walk(f"/api/v1/{address}/?ordering=box,text&page_size=200"))
        found = rows(pages)
        key = "id" if address == "eggs" else "public_id"
        assert len(pages) == 15
        assert len(found) == 3000
        assert len({row[key] for row in found}) == 3000


@pytest.mark.usefixtures("eggs")
def test_keyset_pagination__neither_repeats_nor_hides_rows_when_others_come_and_go() -> None:
    pages = walk("/api/v1/eggs/?page_size=50")
    first = [row["id"] for row in next(pages)["results"]]
    Egg.objects.filter(pk__in=first[:20]).delete()
    Egg.objects.create(box=0)
    last = Egg.objects.create(box=9)
    others = [row["id"] for row in rows(list(pages))]
    assert not set(first) & set(others)
    assert set(first) | set(others) >= set(Egg.objects.values_list("pk", flat=True)) - {last.pk + 1}
    assert others[-1] == last.pk


@pytest.mark.usefixtures("eggs")
def test_keyset_pagination__keeps_other_parameters_in_its_links() -> None:
    page = next(walk("/api/v1/eggs/?box=1&page_size=2&ordering=-weight&weight_min=0.1"))
    query = parse_qs(urlsplit(page["next"]).query)
    kept = {name: query[name] for name in ("box", "page_size", "ordering", "weight_min")}
    assert kept == {"box": ["1"], "page_size": ["2"], "ordering": ["-weight"],
                    "weight_min": ["0.1"]}  # fmt: skip


@pytest.mark.usefixtures("eggs")
def test_keyset_pagination__gives_50_rows_unless_asked() -> None:
    assert len(next(walk("/api/v1/eggs/"))["results"]) == 50


def test_keyset_pagination__links_back_to_the_beginning_when_the_rest_is_gone() -> None:
    with egg_table():
        Egg.objects.bulk_create(Egg(box=1) for _ in range(3))
        following = next(walk("/api/v1/eggs/?page_size=2"))["next"]
        Egg.objects.all().delete()
        page = next(walk(following))
        assert page["results"] == []
        assert page["previous"] == "http://testserver/api/v1/eggs/?page_size=2"


@pytest.mark.usefixtures("eggs")
def test_keyset_pagination__asks_the_database_once_a_page() -> None:
    following = next(walk("/api/v1/eggs/?page_size=2"))["next"]
    with CaptureQueriesContext(
        connection,
    ) as asked:
        Client().get(following)
    assert len(asked) == 1


@pytest.mark.usefixtures("eggs")
def test_keyset_pagination__refuses_a_cursor_it_did_not_give_out() -> None:
    following = next(walk("/api/v1/eggs/?page_size=2"))["next"]
    cursor = parse_qs(urlsplit(following).query)["cursor"][0]
    strange = ["", "x", "W10:abc", cursor[:-1], "A" + cursor, cursor.replace(":", "")]
    for text in strange:
        response = Client().get("/api/v1/eggs/", {"cursor": text})
        problem = response.json()
        assert (response.status_code, problem["code"]) == (400, "invalid-cursor")
        assert problem["errors"][0]["parameter"] == "cursor"
        assert problem["detail"] == (
            "parameter cursor: The cursor was not given out by this list, or it was cut or "
            "changed. Start again without one."
        )
    elsewhere = Client().get("/api/v1/egg-values/", {"cursor": cursor})
    assert elsewhere.json()["code"] == "invalid-cursor"
    other = Client().get("/api/v1/eggs/", {"cursor": cursor, "ordering": "-box"})
    assert other.json()["detail"] == (
        "parameter cursor: The cursor was given out for another ordering of this list. "
        "Start again without one."
    )


def test_order_columns__refuses_an_order_by_expressions() -> None:
    with pytest.raises(ImproperlyConfigured, match="names of columns"):
        order_columns(Egg.objects.order_by(F("box").desc()), ("pk",))


def test_order_columns__appends_the_key_once_and_knows_what_can_be_missing() -> None:
    columns = order_columns(Egg.objects.order_by("-note", "box"), ("pk",))
    assert [(one.term, one.nullable) for one in columns] == [
        ("-note", True),
        ("box", False),
        ("pk", False),
    ]
    assert len(order_columns(Egg.objects.order_by("-pk"), ("pk",))) == 1


def test_packed_value__comes_back_exactly() -> None:
    moment = datetime(2026, 2, 3, 4, 5, 6, 789, tzinfo=UTC)
    for value in (None, True, 3, "é", 0.1 + 0.2, float("inf"), Decimal("1.10"), moment,
                  moment.date(), Egg().public_id):  # fmt: skip
        assert unpacked_value(packed_value(value)) == value
    with pytest.raises(ValueError, match="no value"):
        unpacked_value({"a": 1})
    with pytest.raises(ImproperlyConfigured, match="bytes"):
        packed_value(b"x")
