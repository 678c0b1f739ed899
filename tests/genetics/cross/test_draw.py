"""Hatchlings drawn at random: their frequencies against the exact chances, by seed."""

from collections import Counter
from random import Random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import chi2

from genetics.cross.draw import drawn_hatchling, drawn_parents
from genetics.cross.offspring import Pairing
from genetics.model.belief import Phase, belief_of
from genetics.model.species import Sex
from tests.factories.pairings import pairing_of, pairings, stated
from tests.factories.pools import MARSH
from tests.oracles import offspring as oracle

N_DRAWN = 6000


def fits(counts, chances):
    """Fail unless counts fit exact chances: nothing impossible, chi-square below its 1e-6 point."""
    n = sum(counts.values())
    assert set(counts) <= {one for one, chance in chances.items() if chance}
    statistic = sum(
        (counts[one] - n * float(chance)) ** 2 / (n * float(chance))
        for one, chance in chances.items()
        if chance
    )
    n_free = sum(1 for chance in chances.values() if chance) - 1
    assert statistic < chi2.isf(1e-6, n_free) if n_free else statistic == 0


def drawn(pairing, random, n):
    """Hatchlings of ``n`` pairs, each with parents drawn anew, in the form of the oracle."""
    found = Counter()
    for _ in range(n):
        genotype, sex = drawn_hatchling(pairing, drawn_parents(pairing, random), random)
        found[sex, tuple(sorted(genotype.items()))] += 1
    return found


def expected(pairing):
    """Chances by brute force: every gamete of everything the parents may carry."""
    species = pairing.species
    keys = [key for group in pairing.groups_in_play() for key in group.loci]
    sexed = any(group.is_sex_group for group in pairing.groups_in_play())
    found = Counter()
    for (sex, pairs), chance in oracle.mean_hatchlings(species, pairing.sire, pairing.dam).items():
        genotype = {key: pairs[species.place_of[key]] for key in keys}
        found[sex if sexed else None, tuple(sorted(genotype.items()))] += chance
    return found


@pytest.mark.parametrize(
    ("sire", "dam"),
    [
        ("Ash, Clay", "2 Ash"),
        ("Ash? 2/3, Dune", "Ash, Dune"),
        ("Reed, Rush", "Reed, Clay? 1/5"),
        ("2 Elm", ""),
        ("Elm, Ash", "2 Elm"),
        ("Gorse, Heath", "Gorse, Heath"),
    ],
)
def test_drawn_hatchling__comes_as_often_as_its_chance_says(sire, dam):
    pairing = pairing_of(MARSH, sire, dam)
    fits(drawn(pairing, Random(7), N_DRAWN), expected(pairing))


@pytest.mark.parametrize("coupling", [True, False])
def test_drawn_hatchling__keeps_the_phase_of_linked_genes(coupling):
    said = {"phases": (Phase(("Gorse", "Heath"), coupling),)}
    pairing = Pairing(
        MARSH,
        belief_of(MARSH, stated(MARSH, "Gorse, Heath", Sex.MALE, **said)),
        belief_of(MARSH, stated(MARSH, "", Sex.FEMALE)),
    )
    counts = drawn(pairing, Random(3), N_DRAWN)
    fits(counts, expected(pairing))
    # Recombination 1/10: hatchlings with just one of the genes are 1 in 10, or 9 in 10.
    single = sum(
        n
        for (_sex, genotype), n in counts.items()
        if len({locus for locus, pair in genotype if set(pair) - {"+"}}) == 1
    )
    assert single / N_DRAWN == pytest.approx(0.1 if coupling else 0.9, abs=0.02)


def test_drawn_parents__are_what_they_may_be_by_its_chance_and_stay_so():
    pairing = pairing_of(MARSH, "Ash? 2/3", "2 Ash")
    random = Random(5)
    carriers = 0
    for _ in range(2000):
        parents = drawn_parents(pairing, random)
        clutch = [drawn_hatchling(pairing, parents, random)[0]["ash"] for _ in range(20)]
        shows = clutch.count(("Ash", "Ash"))
        carries = any("Ash" in haplotype for pair, _dam in parents.values() for haplotype in pair)
        carriers += carries
        # One pair is one draw: its clutch shows the gene now and then, or never.
        assert (shows > 0) is carries
    # Binomial, 2,000 times 2/3: five standard deviations are 0.053.
    assert carriers / 2000 == pytest.approx(2 / 3, abs=0.053)


@settings(max_examples=40, deadline=None)
@given(pairing=pairings(), seed=st.integers(0, 2**32))
def test_drawn_hatchling__is_the_same_for_the_same_seed_and_never_impossible(pairing, seed):
    once, again = drawn(pairing, Random(seed), 15), drawn(pairing, Random(seed), 15)
    assert once == again
    chances = expected(pairing)
    assert all(chances[one] > 0 for one in once)
