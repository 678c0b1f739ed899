"""Rows of one target: three keepers behind each of them, and nothing to be had by subtraction."""

from __future__ import annotations

from random import Random
from uuid import UUID

from hypothesis import given
from hypothesis import strategies as st

from registry.exports.bridge import Configuration, CountedClutch
from registry.exports.merging import merged_rows

CONFIGURATIONS = [Configuration("v1", sire, "het Ash") for sire in ("Ash", "Fen", "Reed", "Rush")]


def clutch(configuration: Configuration, hits: int = 1, rest: int = 2) -> CountedClutch:
    cells = (("none of them", rest), ("Ash", hits))
    return CountedClutch(configuration, cells, hits, hits, None, is_declared=False)


def part(place: int, keeper: int, **counts: int):
    return clutch(CONFIGURATIONS[place], **counts), UUID(int=keeper), UUID(int=keeper)


parts = st.lists(
    st.builds(
        part,
        st.integers(0, 3),
        st.integers(1, 8),
        hits=st.integers(0, 4),
        rest=st.integers(1, 9),
    ),
    min_size=1,
    max_size=25,
)


@given(parts)
def test_rows__have_three_keepers_or_are_one_row_for_all(given_parts):
    rows = merged_rows(given_parts)
    keepers = {keeper for _clutch, _family, keeper in given_parts}
    if len(keepers) < 3:
        assert [configuration for configuration, _counts in rows] == [None]
    else:
        assert all(len(counts.keepers) >= 3 for _configuration, counts in rows)


@given(parts)
def test_rows__have_three_keepers_behind_whatever_is_left_of_the_total(given_parts):
    """The total is public. Take any rows from it: three keepers stand behind each one left."""
    rows = merged_rows(given_parts)
    named = {one for one, _counts in rows if one is not None}
    hidden = {keeper for one, _family, keeper in given_parts if one.configuration not in named}
    everybody = {keeper for _clutch, _family, keeper in given_parts}
    assert not hidden or len(hidden) >= min(3, len(everybody))


@given(parts)
def test_rows__add_up_to_the_clutches(given_parts):
    rows = [counts for _configuration, counts in merged_rows(given_parts)]
    clutches = [one for one, _family, _keeper in given_parts]
    assert sum(one.n_clutches for one in rows) == len(clutches)
    assert sum(one.n_hits for one in rows) == sum(one.n_hits for one in clutches)
    whole = sum(count for one in clutches for _cell, count in one.cells)
    assert sum(one.n_hatchlings for one in rows) == whole


@given(parts, st.integers(0, 99))
def test_rows__do_not_depend_on_the_order_of_reports(given_parts, seed):
    shuffled = Random(seed).sample(given_parts, len(given_parts))
    assert merged_rows(shuffled) == merged_rows(given_parts)


def test_rows__the_published_one_with_the_fewest_keepers_joins_a_small_rest():
    many = [part(0, keeper) for keeper in range(1, 6)]
    few = [part(1, keeper) for keeper in range(1, 4)]
    alone = [part(2, 7)]
    (first, counts), (merged, rest) = merged_rows([*many, *few, *alone])
    assert (first, len(counts.keepers)) == (CONFIGURATIONS[0], 5)
    assert (merged, len(rest.keepers), rest.n_clutches) == (None, 4, 4)


def test_rows__a_rest_of_three_keepers_stands_by_itself():
    rows = merged_rows(
        [*(part(0, keeper) for keeper in (1, 2, 3)), part(1, 4), part(2, 5), part(2, 6)]
    )
    assert [(one, len(counts.keepers)) for one, counts in rows] == [
        (CONFIGURATIONS[0], 3),
        (None, 3),
    ]


def test_rows__one_keeper_in_two_small_configurations_is_one():
    """Two configurations, two clutches, yet one keeper: the published one joins them."""
    rows = merged_rows([*(part(0, keeper) for keeper in (1, 2, 3)), part(1, 4), part(2, 4)])
    assert [(one, len(counts.keepers)) for one, counts in rows] == [(None, 4)]
