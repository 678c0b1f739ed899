"""In a community exactly the pairs that are short are flagged, for the right reasons."""

import pytest

from tests.statistics.community import (
    CLUTCHES_EACH,
    LETHAL,
    LOOK_ALIKE,
    N_KEEPERS,
    POPULAR_SIRE,
    community,
    species,
)
from tests.statistics.community_flags import outcome, pooled_targets

DUSK_NEWT = species()


def test_community__has_the_clutches_and_the_sire_that_it_promises():
    families = community(DUSK_NEWT, seed=1)

    assert sum(len(one.clutches) for one in families) == N_KEEPERS * CLUTCHES_EACH
    targets = {frozenset(one.target.loci): one for one in pooled_targets(DUSK_NEWT, families)}
    assert len(targets) > 300
    for pair in (LETHAL, LOOK_ALIKE):
        assert len(targets[frozenset(pair)].keepers) >= 10
    # The popular sire's second gene: ten keepers or nearly, and not one of their young shows it.
    showing = [
        any(POPULAR_SIRE[1] in call.call.readings[0] for call in clutch.calls)
        for family in families
        for clutch in family.clutches
        if clutch.sire_statement.genes.genes == POPULAR_SIRE
        and POPULAR_SIRE[1] not in clutch.dam_statement.genes.genes
    ]
    assert len(showing) >= 20
    assert not any(showing[:20])


@pytest.mark.parametrize("seed", [1, 2])
def test_outcome__flags_the_short_pairs_for_the_right_reasons(seed):
    found = outcome(DUSK_NEWT, community(DUSK_NEWT, seed=seed))

    assert found.finds_both_with_reasons()
    assert not found.false_flags
    # Larger combinations with a short pair in them are short as well, and are no news.
    assert found.explained


def test_outcome__flags_nothing_where_nothing_is_short():
    found = outcome(DUSK_NEWT, community(DUSK_NEWT, seed=3, is_mendel=True))

    assert not found.flags


@pytest.mark.slow
def test_outcome__in_twenty_communities():
    every = [outcome(DUSK_NEWT, community(DUSK_NEWT, seed=seed)) for seed in range(1, 21)]

    assert [one.finds_both_with_reasons() for one in every] == [True] * 20
    assert sum(len(one.false_flags) for one in every) <= 1


@pytest.mark.slow
def test_outcome__in_twenty_communities_with_nothing_short():
    every = [
        outcome(DUSK_NEWT, community(DUSK_NEWT, seed=seed, is_mendel=True)) for seed in range(1, 21)
    ]

    assert sum(len(one.flags) for one in every) <= 1
