"""The competitors of the simulation study against documented and recomputed values."""

import json
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
from scipy.stats import binom

from tests.statistics.competitors import (
    chance_of_signal,
    critical_value,
    maxsprt_flags,
    naive_flags,
    wald_flags,
)

REFERENCE = json.loads(
    (Path(__file__).parents[2] / "fixtures/reference/maxsprt.json").read_text("utf-8")
)


@pytest.mark.parametrize("case", REFERENCE["excess"], ids=lambda case: str(case["looks"][-1]))
def test_critical_value__is_the_documented_one_with_the_tail_turned_round(case):
    chance, looks = 1 - 1 / (1 + case["z"]), tuple(case["looks"])

    found = critical_value(chance=chance, looks=looks)

    assert found == pytest.approx(case["next_level"], abs=1e-8)
    documented = chance_of_signal(case["documented_cv"], chance=chance, looks=looks)
    assert documented == pytest.approx(case["recomputed_chance"], abs=1e-9)
    if case["documented_chance"] is not None:
        assert documented == pytest.approx(case["documented_chance"], abs=1e-8)
    lower = chance_of_signal(case["level_without_signal"] - 1e-9, chance=chance, looks=looks)
    assert lower == pytest.approx(case["chance_if_that_level_signals"], abs=1e-8)
    assert lower > 0.05


@pytest.mark.parametrize(
    "case", REFERENCE["deficit"], ids=lambda case: f"{case['p'].replace('/', ' in ')}, {case['n']}"
)
def test_critical_value__agrees_with_the_recomputed_table(case):
    chance, looks = float(Fraction(case["p"])), tuple(range(1, case["n"] + 1))

    found = critical_value(chance=chance, looks=looks)

    if case["cv"] is None:
        assert found is None
        return
    assert found == pytest.approx(case["cv"], abs=1e-9)
    again = chance_of_signal(found - 1e-12, chance=chance, looks=looks)
    assert again == pytest.approx(case["chance"], abs=1e-9)
    hatchlings = np.arange(1, case["n"] + 1)[None]
    none = maxsprt_flags(0 * hatchlings, hatchlings, chance=chance, critical=found - 1e-12)
    assert none[0] + 1 == case["signal_at_n_when_none_seen"]


def test_naive_flags__falls_at_the_first_look_below_five_percent():
    hatchlings = np.arange(1, 31)[None]
    found = naive_flags(0 * hatchlings, hatchlings, chance=0.25)[0]

    assert binom.cdf(0, found + 1, 0.25) <= 0.05 < binom.cdf(0, found, 0.25)


@pytest.mark.parametrize(("psi", "n"), [(0.0, 11), (3 / 7, 20)])
def test_wald_flags__needs_the_hatchlings_without_a_hit_that_the_odds_ask_for(psi, n):
    # 3/7 makes 1 in 4 into 1 in 8. Boundary log 20; a miss adds log(4/3), or log(7/6).
    hatchlings = np.arange(1, 41)[None]

    assert wald_flags(0 * hatchlings, hatchlings, chance=0.25, psi=psi)[0] + 1 == n
