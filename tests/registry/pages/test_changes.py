"""What changed between two states of a clutch, told against what was really changed."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import pytest

from registry.pages.changes import changes_told

EGGS = {"laid": 8, "infertile": None, "died": 1}


def look(reading: str, count: int, *others: str, **more: Any) -> dict[str, Any]:
    """An entry of hatchlings as it is shown."""
    return {
        "reading": reading,
        "count": count,
        "or": [{"reading": one, "reason": None} for one in others],
        "sex": "unknown",
        "basis": None,
        "contradicts_parents": False,
        **more,
    }


def state(*groups: Mapping[str, Any], **more: Any) -> dict[str, Any]:
    """A state with these hatchlings."""
    return {"hatchlings": groups, "eggs": EGGS, "sire": "het Reed", "dam": "Normal", **more}


@pytest.mark.parametrize(
    ("before", "now", "told"),
    [
        (state(look("Normal", 2)), state(look("Normal", 2)), []),
        (state(), state(), []),
        (
            state(look("Normal", 2)),
            state(look("Normal", 1), look("Reed", 1)),
            ["Normal: 2 before, 1 now.", "Reed: none before, 1 now."],
        ),
        (
            state(look("Normal", 2, "Reed")),
            state(look("Normal", 2)),
            ["Normal or Reed: 2 before, none now.", "Normal: none before, 2 now."],
        ),
        (
            state(look("Reed", 1)),
            state(look("Reed", 1, sex="female")),
            ["Reed: 1 before, none now.", "Reed, female: none before, 1 now."],
        ),
        (
            state(look("Reed", 1)),
            state(look("Reed", 1, basis="first shed")),
            ["Reed: rests on first shed now."],
        ),
        (
            state(look("Reed", 1, basis="first shed")),
            state(look("Reed", 1)),
            ["Reed: what it rests on is no longer said."],
        ),
        (
            state(eggs={"laid": 8, "infertile": None, "died": 1}),
            state(eggs={"laid": None, "infertile": 2, "died": 1}),
            [
                "Eggs laid: 8 before, not counted now.",
                "Never developed: not counted before, 2 now.",
            ],
        ),
        (
            state(look("Reed", 1, contradicts_parents=True)),
            state(look("Reed", 1), dam={"genes": "het Reed"}),
            [
                "Dam: Normal before, het Reed now.",
                "Reed: possible from these parents now.",
            ],
        ),
        # One look in two entries is told by its sum.
        (
            state(look("Reed", 1), look("Reed", 2)),
            state(look("Reed", 3)),
            [],
        ),
    ],
)
def test_changes_told__names_each_change_and_nothing_else(before, now, told):
    assert changes_told(before, now) == told
