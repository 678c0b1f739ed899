"""Gametes against every strand and every crossing, and against what a map must give."""

from fractions import Fraction

from hypothesis import given, settings
from hypothesis import strategies as st

from genetics.cross.gametes import gametes
from genetics.model.linkage import LinkageGroup
from tests.factories.pairings import FRACTIONS, pairings
from tests.oracles.offspring import all_gametes

HALF = Fraction(1, 2)


@settings(max_examples=80, deadline=None)
@given(pairing=pairings())
def test_gametes__are_those_of_every_strand_and_crossing(pairing):
    for belief in (pairing.sire, pairing.dam):
        for group in pairing.species.groups:
            for haplotypes, _chance in belief.states(pairing.species, group):
                found = gametes(group, haplotypes)
                assert dict(found) == all_gametes(group, haplotypes)
                assert list(found) == sorted(set(found))


@given(r=st.sampled_from(FRACTIONS))
def test_gametes__of_two_loci_are_parental_but_for_the_recombination_fraction(r):
    group = LinkageGroup(loci=("a", "b"), fractions=(HALF, r))
    found = dict(gametes(group, (("A", "+"), ("+", "B"))))
    assert found.get(("A", "+"), 0) == found.get(("+", "B"), 0) == (1 - r) / 2
    assert found.get(("A", "B"), 0) == found.get(("+", "+"), 0) == r / 2


@given(one=st.fractions(0, HALF), other=st.fractions(0, HALF))
def test_gametes__of_the_outer_loci_recombine_by_haldanes_addition(one, other):
    # Haldane 1919, J. Genetics 8:299: r = r1 + r2 - 2 r1 r2 without interference.
    group = LinkageGroup(loci=("a", "b", "c"), fractions=(HALF, one, other))
    found = gametes(group, (("A", "B", "C"), ("+", "+", "+")))
    changed = sum(
        chance for gamete, chance in found if (gamete[0] == "A") is not (gamete[2] == "C")
    )
    assert changed == one + other - 2 * one * other


def test_gametes__leave_the_missing_copy_on_its_chromosome():
    group = LinkageGroup(
        loci=("strict", "near"),
        fractions=(Fraction(0), Fraction(1, 4)),
        is_sex_group=True,
        without_copy=frozenset({"strict"}),
    )
    found = dict(gametes(group, (("W", "-", "+"), ("Z", "S", "N"))))
    assert found == {
        ("W", "-", "+"): Fraction(3, 8),
        ("W", "-", "N"): Fraction(1, 8),
        ("Z", "S", "N"): Fraction(3, 8),
        ("Z", "S", "+"): Fraction(1, 8),
    }
