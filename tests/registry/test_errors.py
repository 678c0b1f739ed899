"""Codes, and places of refusals."""

from __future__ import annotations

import pytest

from genetics.errors import SuperOfRecessiveError
from registry import errors
from registry.errors import ErrorCode, FieldsError


def test_error_code__has_a_status_and_a_heading_of_its_own() -> None:
    assert len({code.heading for code in ErrorCode}) == len(ErrorCode)
    for code in ErrorCode:
        assert 400 <= code.http_status <= 599
        assert code == code.lower().replace("_", "-")
        assert errors.error_code(str(code)) is code


def test_registry_error__carries_code_status_and_fields() -> None:
    error = errors.CountsDoNotAddUpError("Laid 3, expected at least 5.", laid=3)
    assert (error.code, error.status, error.fields) == ("counts-do-not-add-up", 400, {"laid": 3})
    assert str(error) == "Laid 3, expected at least 5."


def test_at__nests_places() -> None:
    with pytest.raises(FieldsError) as caught, errors.at("groups"), errors.at(2, "call"):
        raise SuperOfRecessiveError(gene="glum")
    (placed,) = caught.value.errors
    assert placed.place == ("groups", 2, "call")
    assert isinstance(placed.error, SuperOfRecessiveError)


def test_at__lets_other_exceptions_through() -> None:
    with pytest.raises(KeyError), errors.at("groups"):
        raise KeyError("x")


def test_gathered__raises_nothing_without_refusals_and_all_of_them_at_the_end() -> None:
    with errors.gathered() as gathering, gathering.at("a"):
        pass
    reached: list[str] = []

    def read_two() -> None:
        with errors.at("outer"), errors.gathered() as gathering:
            with gathering.at("a"):
                raise errors.EmptyClutchError("Empty.")
            reached.append("between")
            with gathering.at("b", 1):
                raise errors.SeasonOutOfRangeError("Late.")

    with pytest.raises(FieldsError) as caught:
        read_two()
    assert reached == ["between"]
    assert [one.place for one in caught.value.errors] == [("outer", "a"), ("outer", "b", 1)]
