"""Offspring against drawing every gamete strand by strand, and by lot."""

import math
from collections import Counter
from fractions import Fraction
from itertools import combinations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from genetics.cross.offspring import (
    Pairing,
    chance_law,
    genotype_table,
    group_chance,
    group_offspring,
    mean_chance,
)
from genetics.errors import TooManyLooksError
from genetics.model.belief import Phase, belief_of
from genetics.model.linkage import Linkage
from genetics.model.locus import Allele, Locus, Mode, SexLinkage
from genetics.model.species import Sex, SexSystem, Species
from tests.factories.pairings import pairing_of, pairings, stated
from tests.oracles import offspring as oracle

ONE, HALF, QUARTER = Fraction(1), Fraction(1, 2), Fraction(1, 4)
RECESSIVE, VISIBLE = Mode.RECESSIVE, Mode.INCOMPLETE_DOMINANT


def wanted_of(data, species):
    """Any set of genotypes at any of the loci, also none at all."""
    loci = data.draw(st.lists(st.sampled_from(species.loci), unique=True))
    return {
        locus.key: frozenset(
            data.draw(st.sets(st.sampled_from([*locus.pairs, *locus.single_copies])))
        )
        for locus in loci
    }


@settings(max_examples=200, deadline=None)
@given(pairing=pairings())
def test_group_offspring__agrees_with_every_gamete_drawn(pairing):
    for group in pairing.species.groups:
        for sire, dam, _weight in pairing.latent_states(group):
            found = group_offspring(pairing.species, group, sire, dam)
            by_hand = oracle.group_hatchlings(pairing.species, group, sire, dam)
            assert {(one.sex, one.pairs): chance for one, chance in found} == by_hand
            assert len(found) == len(by_hand)
            assert sum(by_hand.values()) == 1


@settings(max_examples=120, deadline=None)
@given(pairing=pairings())
def test_mean_offspring__agrees_with_every_gamete_of_everything_carried(pairing):
    by_hand = oracle.mean_hatchlings(pairing.species, pairing.sire, pairing.dam)
    keys = [locus.key for locus in pairing.species.loci]
    for group in pairing.species.groups:
        here: Counter = Counter()
        for (sex, pairs), chance in by_hand.items():
            shown = tuple(pairs[keys.index(key)] for key in group.loci)
            here[sex if group.is_sex_group else None, shown] += chance
        found = pairing.mean_offspring(group)
        assert {(one.sex, one.pairs): chance for one, chance in found.items()} == here


@settings(max_examples=120, deadline=None)
@given(pairing=pairings())
def test_genotype_table__is_the_joint_table(pairing):
    by_hand: Counter = Counter()
    in_play = pairing.groups_in_play()
    sexes_told = any(group.is_sex_group for group in in_play)
    keys = {key for group in in_play for key in group.loci}
    for (sex, pairs), chance in oracle.mean_hatchlings(
        pairing.species, pairing.sire, pairing.dam
    ).items():
        genotype = tuple(
            (locus.key, pair)
            for locus, pair in zip(pairing.species.loci, pairs, strict=True)
            if pair != ("+", "+") and locus.key in keys
        )
        by_hand[sex if sexes_told else None, genotype] += chance
    place = pairing.species.place_of
    entries = [
        ((sex, tuple(sorted(genotype.items(), key=lambda item: place[item[0]]))), chance)
        for genotype, sex, chance in genotype_table(pairing)
    ]
    assert dict(entries) == by_hand
    assert len(entries) == len(by_hand)


@settings(max_examples=120, deadline=None)
@given(pairing=pairings(), data=st.data())
def test_chance_law__agrees_with_counting_the_wanted_hatchlings(pairing, data):
    wanted = wanted_of(data, pairing.species)
    for sex in (None, Sex.MALE, Sex.FEMALE):
        found = chance_law(pairing, wanted, sex=sex)
        by_hand = oracle.wanted_law(pairing.species, pairing.sire, pairing.dam, wanted, sex)
        assert found == by_hand
        assert sum(found.values()) == 1
        assert mean_chance(found) == sum(chance * weight for chance, weight in by_hand.items())


@settings(max_examples=80, deadline=None)
@given(pairing=pairings(sure=True), data=st.data())
def test_group_chance__sums_the_wanted_of_one_group(pairing, data):
    species = pairing.species
    wanted = wanted_of(data, species)
    for group in species.groups:
        here = {key: pairs for key, pairs in wanted.items() if key in group.loci}
        for sire, dam, _weight in pairing.latent_states(group):
            table = oracle.group_hatchlings(species, group, sire, dam)
            for sex in (None, Sex.MALE, Sex.FEMALE):
                of_sex = {h: c for h, c in table.items() if sex is None or h[0] in {None, sex}}
                hits = sum(
                    chance
                    for (_sex, pairs), chance in of_sex.items()
                    if all(
                        pair in here.get(key, {pair})
                        for key, pair in zip(group.loci, pairs, strict=True)
                    )
                )
                found = group_chance(species, group, sire, dam, wanted, sex)
                assert found == hits / sum(of_sex.values())


def test_genotype_table__is_refused_before_it_is_made():
    species = Species(
        "wide", "wide gecko", SexSystem.NONE,
        tuple(Locus(f"l{n}", (Allele(f"Gene {n}", RECESSIVE),)) for n in range(5)),
    )  # fmt: skip
    hets = ", ".join(f"Gene {n}" for n in range(5))
    pairing = pairing_of(species, hets, hets)
    assert sum(1 for _entry in genotype_table(pairing, limit=3**5)) == 3**5
    with pytest.raises(TooManyLooksError) as refused:
        genotype_table(pairing, limit=3**5 - 1)
    assert refused.value.details() == {"n_looks": 243, "limit": 242}


def linked_species(system, *, fraction=Fraction(1, 10)):
    """Three linked loci, a gene on the sex chromosomes near by and one strictly on the X or Z."""
    return Species(
        "drawn",
        "drawn gecko",
        system,
        (
            Locus("ash", (Allele("Ash", RECESSIVE), Allele("Ash Mist", VISIBLE))),
            Locus("bay", (Allele("Bay", VISIBLE),)),
            Locus("cliff", (Allele("Cliff", RECESSIVE),)),
            Locus("dune", (Allele("Dune", VISIBLE),), sex_linkage=SexLinkage(Fraction(3, 50))),
            Locus(
                "elm", (Allele("Elm", RECESSIVE),),
                sex_linkage=SexLinkage(Fraction(0), heterogametic_copy=False),
            ),
        ),
        (Linkage(("ash", "bay"), fraction), Linkage(("bay", "cliff"), Fraction(1, 5))),
    )  # fmt: skip


@pytest.mark.parametrize("system", [SexSystem.XY, SexSystem.ZW])
def test_chance_law__agrees_with_hatchlings_drawn_by_lot(system):
    species = linked_species(system)
    n = 100_000
    genes = "Ash, Ash Mist, Bay, Cliff? 2/3, Dune"
    hemizygous = ", 2 Elm"
    male, female = (
        (genes + hemizygous, genes + ", Elm")
        if system is SexSystem.XY
        else (genes + ", Elm", genes + hemizygous)
    )
    pairing = pairing_of(species, male, female)
    drawn = oracle.simulated(species, pairing.sire, pairing.dam, n=n, seed=1909)
    checked = 0
    for locus in species.loci:
        for pair in (*locus.pairs, *locus.single_copies):
            checked += _within_bounds(pairing, drawn, {locus.key: frozenset({pair})}, n)
    visible = {
        locus.key: frozenset(p for p in (*locus.pairs, *locus.single_copies) if locus.look(p))
        for locus in species.loci
    }
    for one, other in combinations(visible, 2):
        wanted = {one: visible[one], other: visible[other]}
        for sex in (None, Sex.MALE, Sex.FEMALE):
            checked += _within_bounds(pairing, drawn, wanted, n, sex)
    assert checked == 20 + 3 * 10  # genotypes at one locus, and pairs of loci by sex


def _within_bounds(pairing, drawn, wanted, n, sex=None):
    """Count of wanted hatchlings within five standard deviations; sure things exactly."""
    chance = mean_chance(chance_law(pairing, wanted, sex=sex)) * (HALF if sex else 1)
    hits = sum(
        count
        for hatchling, count in drawn.items()
        if (sex is None or hatchling[0] is sex)
        and oracle.is_wanted(pairing.species, hatchling, wanted)
    )
    deviation = math.sqrt(n * float(chance * (1 - chance)))
    assert abs(hits - n * float(chance)) <= 5 * deviation
    return 1


def test_linked_loci__in_coupling_repulsion_and_unknown_phase():
    # A double recessive of an F2: (1 - r)**2 / 4 in coupling, r**2 / 4 in repulsion.
    r = Fraction(1, 10)
    species = linked_species(SexSystem.XY, fraction=r)
    wanted = {"ash": frozenset({("Ash", "Ash")}), "bay": frozenset({("Bay", "Bay")})}
    laws = {}
    for name, phases in {
        "coupling": (Phase(("Ash", "Bay"), coupling=True),),
        "repulsion": (Phase(("Ash", "Bay"), coupling=False),),
        "unknown": (),
    }.items():
        sire = stated(species, "Ash, Bay", Sex.MALE, phases=phases)
        dam = stated(species, "Ash, Bay", Sex.FEMALE, phases=phases)
        laws[name] = chance_law(_pairing(species, sire, dam), wanted)
    both, mixed, neither = (1 - r) ** 2 / 4, r * (1 - r) / 4, r**2 / 4
    assert laws["coupling"] == {both: ONE}
    assert laws["repulsion"] == {neither: ONE}
    assert laws["unknown"] == {both: QUARTER, mixed: HALF, neither: QUARTER}


def _pairing(species, sire, dam):
    return Pairing(species, belief_of(species, sire), belief_of(species, dam))
