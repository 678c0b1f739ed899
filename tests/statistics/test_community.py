"""In a community exactly the pairs that are short are flagged, for the right reasons."""

import pytest

from tests.statistics.community import (
    CLUTCHES_EACH,
    KEEPERS_OF_POPULAR_SIRE,
    LETHAL,
    LOOK_ALIKE,
    N_KEEPERS,
    POPULAR_SIRE,
    community,
    species,
)
from tests.statistics.community_flags import outcome, pooled_targets

DUSK_NEWT = species()


@pytest.fixture(scope="module")
def families():
    return community(DUSK_NEWT, seed=1)


def test_community__has_the_clutches_and_the_sire_that_it_promises(families):
    assert sum(len(one.clutches) for one in families) == N_KEEPERS * CLUTCHES_EACH
    targets = pooled_targets(DUSK_NEWT, families)
    assert len(targets) > 200
    for pair in (LETHAL, LOOK_ALIKE):
        keepers = {keeper for one in targets if one.target.loci == pair for keeper in one.keepers}
        assert len(keepers) >= 10
    first, second = POPULAR_SIRE
    of_popular = [
        (family.keeper, clutch)
        for family in families
        for clutch in family.clutches
        if family.keeper < KEEPERS_OF_POPULAR_SIRE and clutch.sire == 0
    ]
    assert len({keeper for keeper, _clutch in of_popular}) >= 8
    # None of his young shows the second gene, unless the dam has it.
    looks = [
        {gene for call in clutch.calls for gene in call.call.readings[0]}
        for _keeper, clutch in of_popular
        if second not in clutch.dam_statement.genes.genes
    ]
    assert len(looks) >= 15
    assert not any(second in one for one in looks)
    assert any(first in one for one in looks)


def test_outcome__flags_the_short_pairs_for_the_right_reasons(families):
    found = outcome(DUSK_NEWT, families)

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
