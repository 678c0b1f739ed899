"""Cells of hatchlings, as keepers write them."""

from __future__ import annotations

import pytest

from registry.clutches.bulk.hatchlings import hatchlings_read


def read(text: str, *names: str):
    return hatchlings_read(text, lambda words: words.strip().casefold() in names)


def entries(text: str, *names: str):
    found = read(text, *names)
    assert found.refusals == ()
    return list(found.entries)


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("", []),
        (" ;\n; ", []),
        ("3 ashwater", [{"call": "ashwater", "count": 3}]),
        (
            "3 ashwater; 5 normal;",
            [{"call": "ashwater", "count": 3}, {"call": "normal", "count": 5}],
        ),
        (
            "1 normal\r\n2  pale   reed",
            [{"call": "normal", "count": 1}, {"call": "pale reed", "count": 2}],
        ),
        (
            "1 ashwater pale reed or ashwater",
            [{"call": "ashwater pale reed", "count": 1, "or": ["ashwater"]}],
        ),
        ("1 a or b OR c", [{"call": "a", "count": 1, "or": ["b", "c"]}]),
        (
            "2 female tidemark (first shed)",
            [{"call": "tidemark", "count": 2, "sex": "female", "basis": "first shed"}],
        ),
        (
            "2 Males tidemark (first; dark)",
            [{"call": "tidemark", "count": 2, "sex": "male", "basis": "first; dark"}],
        ),
        ("3x ashwater", [{"call": "ashwater", "count": 3}]),
        ("3 \u00d7 ashwater", [{"call": "ashwater", "count": 3}]),
        ("ashwater x 3", [{"call": "ashwater", "count": 3}]),
        ("ashwater x12 (egg)", [{"call": "ashwater", "count": 12, "basis": "egg"}]),
        ("1x tidemark", [{"call": "tidemark", "count": 1}]),
        # The count stands in front, so this x2 is the notation's: two copies of the gene.
        ("2 tidemark x2", [{"call": "tidemark x2", "count": 2}]),
        ("1 2x tidemark", [{"call": "2x tidemark", "count": 1}]),
        ("1 x tidemark x2", [{"call": "tidemark x2", "count": 1}]),
        ("3 Xenolith", [{"call": "Xenolith", "count": 3}]),
        ("3 8-bar", [{"call": "8-bar", "count": 3}]),
        ("0 normal", [{"call": "normal", "count": 0}]),
        ("3 normal ()", [{"call": "normal", "count": 3}]),
    ],
)
def test_hatchlings_read__of_a_keepers_hand(text, expected):
    assert entries(text) == expected


def test_hatchlings_read__leaves_the_brackets_of_a_name_in_the_call():
    line = {"call": "ghost (north)", "count": 2}
    assert entries("2 ghost (North)".casefold(), "north") == [line]
    assert entries("2 ghost (north) (shed)", "north") == [line | {"basis": "shed"}]
    assert entries("2 ghost (north)") == [{"call": "ghost", "count": 2, "basis": "north"}]


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("normal", "'normal' begins with no count; expected one before the call, such as"),
        ("66% het reed", "begins with no count"),
        ("66 % het reed", "begins with no count"),
        ("1/2 het reed", "begins with no count"),
        ("-3 normal", "begins with no count"),
        ("8-bar", "begins with no count"),
        ("3", "begins with no count"),
        ("3x", "begins with no count"),
        ("1.2 normal", "write one entry for each, such as '1 male normal; 2 female normal'"),
        ("1.2.3 normal", "count by sex"),
        ("2x tidemark", "write '2 tidemark' for two hatchlings, '1 tidemark x2' for one with two"),
        ("2 x tidemark", "can be read in two ways"),
        ("tidemark x2", "can be read in two ways"),
        ("tidemark \u00d7 2", "can be read in two ways"),
        ("2 normal (first", "'2 normal (first' has a round bracket without its other half."),
        ("9999999999 normal", "Read a count of 10 digits in '9999999999 normal'."),
    ],
)
def test_hatchlings_read__says_what_would_be_right(text, said):
    found = read(f"1 normal; {text}")
    ((place, error),) = found.refusals
    assert place == 1
    assert said in error.message


def test_hatchlings_read__numbers_the_entries_without_empty_ones():
    assert [place for place, _error in read("a;;2 b;\n;c").refusals] == [0, 2]
