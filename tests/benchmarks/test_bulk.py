"""Many clutches at once beside one call for each: processor time within one run, as ratios.

Ratios are printed with ``-s``. Time on the clock tells nothing where others use the machine.
"""

from __future__ import annotations

import json
import time
from itertools import pairwise

import pytest

from registry.clutches.bulk.hatchlings import hatchlings_read
from registry.clutches.models import Clutch
from tests.factories.registry import clutch, gecko, joined, parent

pytestmark = pytest.mark.django_db(transaction=True)


def bodies(n_clutches: int, prefix: str, genes: str = "het ashwater het reed"):
    """Clutches of labelled animals, every three of them of the same sire."""
    return [
        clutch(
            parent(genes, f"{prefix} sire {n // 3}"),
            parent(genes, f"{prefix} dam {n}"),
            {"normal": 3, "ashwater": 1, "reed": 2},
        )
        for n in range(n_clutches)
    ]


@pytest.mark.parametrize(
    "made",
    [
        lambda n: "1 a" + " " * n + "x",
        lambda n: "a;" * (n // 2),
        lambda n: "(" * n + ";",
    ],
)
def test_cell__of_twice_the_length_takes_about_twice_as_long(made):
    """A pattern that tried every beginning would take four times as long."""

    def taken(n_signs: int) -> float:
        times = []
        for _ in range(5):
            start = time.process_time()
            hatchlings_read(made(n_signs), lambda _words: False)
            times.append(time.process_time() - start)
        return min(times)

    once, twice = taken(60_000), taken(120_000)
    print(f"\n60,000 signs {1000 * once:.1f} ms, 120,000 signs {1000 * twice:.1f} ms")
    assert twice < 3 * once + 0.005


def test_bulk__a_clutch_costs_less_than_by_itself():
    """In turns of 50, so that a registry that grows is the same to both."""
    gecko()
    keeper = joined()
    keeper.bulk(bodies(10, "warm"))
    alone = together = 0.0
    for turn in range(4):
        start = time.process_time()
        for body in bodies(50, f"alone {turn}"):
            keeper.post("clutches/", body)
        alone += time.process_time() - start
        start = time.process_time()
        answers = keeper.bulk(bodies(50, f"many {turn}"))
        together += time.process_time() - start
        assert answers[-1]["summary"]["accepted"] == 50
    print(
        f"\n200 clutches: {5 * alone:.1f} ms each by itself, {5 * together:.1f} ms in an upload: "
        f"{alone / together:.2f} x the rate"
    )
    assert together < alone


def test_bulk__the_last_of_5000_clutches_costs_what_the_first_did():
    """A full upload, in ten parts of its answer: the cost of a line follows nothing before it."""
    gecko()
    keeper = joined()
    content = "\n".join(map(json.dumps, bodies(5_000, "full"))).encode()
    response = keeper.client.post(
        "/api/v1/clutches/bulk/",
        content,
        content_type="application/jsonl",
        headers={"Authorization": f"Bearer {keeper.token}"},
    )
    marks = [time.process_time()]
    for number, _line in enumerate(response.streaming_content, 1):
        if number % 500 == 0:
            marks.append(time.process_time())
    parts = [later - earlier for earlier, later in pairwise(marks)]
    print(
        f"\n5,000 clutches: {sum(parts):.0f} s of processor time, {5_000 / sum(parts):.0f} a "
        f"second; the last tenth takes {parts[-1] / parts[1]:.1f} x the second"
    )
    assert Clutch.objects.count() == 5_000
    assert parts[-1] < 2 * parts[1]
