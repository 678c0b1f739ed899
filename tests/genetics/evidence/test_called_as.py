"""What a look-alike was called: a look that was called, and that the parents can give."""

from __future__ import annotations

import pytest

from genetics.evidence.called_as import called_as
from tests.factories.evidence import Brood, pool_of

TIDEMARKS = {"sire": "Tidemark", "dam": "Tidemark"}


@pytest.mark.parametrize(
    ("looks", "brood", "logs", "name"),
    [
        # Nobody called a Floodmark, which these parents can not give: however likely, not named.
        (
            "Tidemark",
            Brood("Tidemark", "", {"": 30}),
            {0: -5.0, 1: -1.0},
            "a hatchling without Tidemark",
        ),
        # Both were called: the likelier one.
        ("Floodmark", Brood(**TIDEMARKS, hatchlings={"": 8, "Tidemark": 30}), {0: -5.0, 1: -1.0},
         "Tidemark"),
        ("Floodmark", Brood(**TIDEMARKS, hatchlings={"": 8, "Tidemark": 30}), {0: -1.0, 1: -5.0},
         "a hatchling without Floodmark"),
        # Every hatchling was a Floodmark: nothing to go by but the likelihood.
        ("Floodmark", Brood(**TIDEMARKS, hatchlings={"Floodmark": 3}), {0: -5.0, 1: -1.0},
         "Tidemark"),
        # Of the four other looks of the series, these parents give one.
        ("Super Brackish", Brood("Brackish", "Brackish", {"": 2, "Brackish": 4}),
         {0: -5.0, 1: -1.0}, "Brackish"),
        ("Brackish", Brood("Brackish, Saltgrass", "Brackish", {"Brackish": 4, "Saltgrass": 4}),
         {0: -5.0, 1: -1.0}, "another look of the series of Brackish"),
    ],
)  # fmt: skip
def test_called_as__is_a_look_that_was_called(looks, brood, logs, name):
    pools = pool_of(looks, [brood])
    assert called_as(pools, logs) == name
