"""One clutch: its surprise and what it missed, against every hatchling drawn in every way."""

from fractions import Fraction

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy import stats

from genetics.cross.offspring import Pairing
from genetics.evidence import clutch as module
from genetics.evidence.clutch import clutch_surprise, missed_combinations
from genetics.model.belief import belief_of
from genetics.model.species import Sex
from genetics.pool.cells import Call, cell_counts, checked_call, n_hits
from genetics.pool.pool import FamilyClutch
from genetics.pool.target import informed_targets
from tests.factories.pairings import parents, stated
from tests.factories.species import FIXTURES, species_from_file
from tests.oracles.clutch_outcomes import exact_surprise
from tests.oracles.family import Brood, look_table, total_hits_law
from tests.oracles.offspring import wanted_law

BALL_PYTHON = species_from_file(FIXTURES / "catalogue" / "ball-python.json")
CLOWN, PASTEL = {"bp-clown": "Clown"}, {"bp-pastel": "Pastel"}
HALF = Fraction(1, 2)


def family_clutch(species, sire, dam, calls):
    pairing = Pairing(species, belief_of(species, sire), belief_of(species, dam))
    return FamilyClutch(
        pairing=pairing,
        sire="sire",
        dam="dam",
        sire_statement=sire,
        dam_statement=dam,
        calls=tuple(checked_call(pairing, call) for call in calls),
        season=2024,
    )


def python_clutch(sire, dam, *calls):
    return family_clutch(
        BALL_PYTHON,
        stated(BALL_PYTHON, sire, Sex.MALE),
        stated(BALL_PYTHON, dam, Sex.FEMALE),
        [Call(said if isinstance(said, tuple) else (said,), n) for said, n in calls],
    )


@st.composite
def clutches(draw):
    """Parents with doubts at up to two loci and a clutch of up to three hatchlings."""
    species, sire, dam = draw(parents(most_loci=2))
    pairing = Pairing(species, belief_of(species, sire), belief_of(species, dam))
    looks, _rows, _weights = look_table(species, pairing.sire, pairing.dam)
    assume(len(looks) <= 12)
    strange = st.tuples(*(st.sampled_from(sorted(locus.states)) for locus in species.loci))
    look = st.sampled_from([*looks] * 5) | strange
    calls = [
        Call(
            readings=tuple(
                {locus.key: w for locus, w in zip(species.loci, one, strict=True) if w}
                for one in said
            ),
            count=1,
            sex=draw(st.sampled_from([None, *Sex])),
        )
        for said in draw(
            st.lists(st.lists(look, min_size=1, max_size=2, unique=True), min_size=1, max_size=3)
        )
    ]
    return family_clutch(species, sire, dam, calls)


@settings(max_examples=150, deadline=None)
@given(clutch=clutches())
def test_clutch_surprise__agrees_with_drawing_every_hatchling(clutch):
    species = clutch.pairing.species
    looks, rows, weights = look_table(species, clutch.pairing.sire, clutch.pairing.dam)
    counts = [0] * len(looks)
    n_uncertain = 0
    for one in clutch.calls:
        if one.possible_readings:
            first = one.possible_readings[0]
            counts[looks.index(tuple(first.get(locus.key, "") for locus in species.loci))] += 1
            n_uncertain += len(one.possible_readings) > 1
    found = clutch_surprise(clutch.pairing, clutch.calls)
    # Nothing compared is neither for the parents nor against them.
    assert found.probability == (
        float(exact_surprise(rows, weights, counts)) if sum(counts) else None
    )
    assert (found.n_hatchlings, found.n_uncertain) == (sum(counts), n_uncertain)
    assert (found.merged_looks, found.loci_left_out) == (0, ())


@settings(max_examples=100, deadline=None)
@given(clutch=clutches())
def test_missed_combinations__agree_with_everything_the_parents_may_carry(clutch):
    species, pairing = clutch.pairing.species, clutch.pairing
    expected = {}
    for target in informed_targets(pairing):
        cells = cell_counts(species, target, clutch.calls)
        certain, possible = n_hits(target, cells)
        sexes = tuple(cell.sex for cell in cells for _ in range(cell.count))
        if sexes and not certain:
            law = total_hits_law(
                species, [pairing.sire], [pairing.dam], [Brood(0, 0, sexes)], target.wanted
            )
            single = wanted_law(species, pairing.sire, pairing.dam, target.wanted)
            expected[target] = (
                sum(chance * weight for chance, weight in single.items()),
                len(sexes),
                possible,
                sum(k * chance for k, chance in enumerate(law)),
                pytest.approx(float(law[0]), rel=1e-12, abs=1e-300),
            )
    found = missed_combinations(clutch, most=1000)
    assert {
        one.target: (one.chance, one.n_hatchlings, one.n_possible, one.expected, one.chance_of_none)
        for one in found
    } == expected
    assert len(found) == len(expected)
    ranks = [(one.chance_of_none, one.target.n_factors) for one in found]
    assert ranks == sorted(ranks)

    cut = missed_combinations(clutch, most=2)
    assert len(cut) == min(2, len(expected))
    rest = [one.chance for one in found if one not in cut]
    assert all(one.chance >= max(rest, default=0) for one in cut)


# --- by hand ----------------------------------------------------------------------------------


def test_clutch_surprise__of_two_hets_is_the_binomial_test():
    clutch = python_clutch("Clown", "Clown", ({}, 8))
    found = clutch_surprise(clutch.pairing, clutch.calls)
    assert found.probability == pytest.approx(stats.binomtest(0, 8, 0.25).pvalue, rel=1e-12)


def test_clutch_surprise__of_what_can_not_be_told_apart_is_none():
    clutch = python_clutch("2 Clown", "2 Clown", (CLOWN, 5))
    found = clutch_surprise(clutch.pairing, clutch.calls)
    assert (found.probability, found.n_hatchlings) == (1, 5)


def test_clutch_surprise__leaves_out_what_contradicts_the_parents():
    clutch = python_clutch("Clown", "Clown", ({}, 2), (PASTEL, 3), ((PASTEL, CLOWN), 1))
    found = clutch_surprise(clutch.pairing, clutch.calls)
    assert (found.n_hatchlings, found.n_uncertain) == (3, 0)
    sure = python_clutch("Clown", "Clown", ({}, 2), (CLOWN, 1))
    assert found.probability == clutch_surprise(sure.pairing, sure.calls).probability


@pytest.mark.parametrize("calls", [(), ((PASTEL, 5),)])
def test_clutch_surprise__of_nothing_that_can_be_compared_has_no_probability(calls):
    clutch = python_clutch("Clown", "Clown", *calls)
    found = clutch_surprise(clutch.pairing, clutch.calls)
    assert (found.probability, found.n_hatchlings) == (None, 0)


def test_clutch_surprise__of_calls_that_fit_no_parents_together_is_0():
    """A possible het at a hidden visual: the sire can not be both without and with the gene."""
    sire = stated(BALL_PYTHON, "2 Clown", Sex.MALE, unproven=("Clown",))
    dam = stated(BALL_PYTHON, "2 Clown", Sex.FEMALE)
    pairing = Pairing(
        BALL_PYTHON,
        belief_of(BALL_PYTHON, sire, unproven_chance=HALF),
        belief_of(BALL_PYTHON, dam),
    )
    calls = [checked_call(pairing, Call((said,), 1)) for said in ({}, CLOWN)]
    assert clutch_surprise(pairing, calls).probability == 0
    assert clutch_surprise(pairing, calls[:1]).probability == 1


def test_clutch_surprise__leaves_out_loci_beyond_the_limit(monkeypatch):
    sure = python_clutch("Clown, Pastel", "Clown, Pastel", (CLOWN, 2), (PASTEL, 3))
    whole = clutch_surprise(sure.pairing, sure.calls)
    assert whole.loci_left_out == ()
    monkeypatch.setattr(module, "MOST_ENTRIES", 5)  # 2 looks of Clown, 3 of Pastel
    cut = clutch_surprise(sure.pairing, sure.calls)
    assert cut.loci_left_out == ("bp-pastel",)
    alone = python_clutch("Clown", "Clown", (CLOWN, 2), ({}, 3))
    assert cut.probability == clutch_surprise(alone.pairing, alone.calls).probability
    assert cut.probability != whole.probability
    monkeypatch.setattr(module, "MOST_ENTRIES", 1)
    nothing = clutch_surprise(sure.pairing, sure.calls)
    assert (nothing.probability, nothing.n_hatchlings) == (None, 5)
    assert set(nothing.loci_left_out) == {"bp-clown", "bp-pastel"}
    monkeypatch.setattr(module, "MOST_ENTRIES", 6)
    assert clutch_surprise(sure.pairing, sure.calls) == whole


def test_missed_combinations__are_those_without_a_sure_hit():
    clutch = python_clutch(
        "Clown, Pastel", "Clown, Piebald", ({}, 4), (CLOWN, 1), ((PASTEL, CLOWN | PASTEL), 1)
    )
    found = {one.target.key: one for one in missed_combinations(clutch, most=10)}
    assert set(found) == {"bp-pastel: Pastel | bp-clown: Clown"} or set(found) == {
        "bp-clown: Clown | bp-pastel: Pastel"
    }
    [one] = found.values()
    assert (one.chance, one.n_hatchlings, one.n_possible) == (Fraction(1, 8), 6, 1)
    assert one.expected == Fraction(3, 4)
    assert one.chance_of_none == pytest.approx((7 / 8) ** 6, rel=1e-12)


def test_missed_combinations__of_a_possible_het_are_a_mixture():
    [one] = missed_combinations(python_clutch("2 Clown", "Clown? 2/3", ({}, 6)), most=10)
    third = Fraction(1, 3)
    assert one.chance == third
    assert one.chance_of_none == pytest.approx(float(third + 2 * third * HALF**6), rel=1e-12)


def test_missed_combinations__of_an_empty_clutch_are_none():
    assert missed_combinations(python_clutch("Clown", "Clown"), most=10) == ()
