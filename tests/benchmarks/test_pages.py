"""What a page costs beside the bare call of the interface, in one run and on one registry.

Medians of turns that take both are compared, so that whatever else the machine does falls on both.
Numbers are printed with ``-s``.
"""

from __future__ import annotations

import time
from statistics import median
from typing import Any, Final

import pytest
from django.test import Client

from registry.combinations.bridge.community import DEMO_SPECIES
from tests.benchmarks.crowd import multiply, report_one, small_registry
from tests.factories.pages import Page

PATH: Final = f"/combinations/{DEMO_SPECIES}/Ashwater%20Quillback/"
PAGE: Final = {"host": "localhost", "accept": "text/html"}
CALL: Final = {"host": "localhost", "accept": "application/json"}
MOST_ADDED: Final = 0.050
"""Seconds that a page may take beyond the call whose numbers it shows."""
TURNS: Final = 31
MOST_BYTES: Final = 150_000


def taken(client: Client, path: str, headers: dict[str, str]) -> tuple[float, Any]:
    """Seconds until the answer is there, and the answer."""
    start = time.perf_counter()
    response = client.get(path, headers=headers)
    seconds = time.perf_counter() - start
    assert response.status_code == 200, response.content
    return seconds, response


@pytest.mark.django_db(transaction=True)
def test_answer_page__costs_little_beyond_the_call_at_100000_clutches():
    keeper = small_registry()
    n_clutches = multiply(100_000)
    report_one(keeper)
    client = Client()
    bare: list[float] = []
    shown: list[float] = []
    for turn in range(TURNS + 1):
        called, answer = taken(client, f"/api/v1{PATH}", CALL)
        paged, page = taken(client, PATH, PAGE)
        if turn:  # the first of each loads templates and fills caches
            bare.append(called)
            shown.append(paged)
    pool = answer.json()["method"]["pool"]
    added = median(shown) - median(bare)
    print(
        f"\n{n_clutches} clutches, {pool} of this combination: call {1000 * median(bare):.1f} ms, "
        f"page {1000 * median(shown):.1f} ms, {1000 * added:.1f} ms beyond it"
    )
    assert n_clutches > 100_000
    assert f'<data value="{pool}" data-of="method.pool">' in page.content.decode()
    assert added < MOST_ADDED


@pytest.mark.django_db
def test_answer_page__with_everything_it_names_weighs_little():
    small_registry()
    client = Client()
    page = Page(client.get(PATH, headers=PAGE))
    parts = {PATH: len(page.response.content)}
    for address in page.resources:
        parts[address] = len(client.get(address, headers=PAGE).getvalue())
    print(f"\n{sum(parts.values()):,} bytes: the page {parts[PATH]:,}, {len(parts) - 1} others")
    assert len(parts) >= 4
    assert sum(parts.values()) <= MOST_BYTES
