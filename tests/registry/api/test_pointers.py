"""JSON pointers; the examples are those of RFC 6901, section 6."""

import pytest

from registry.api.pointers import json_pointer


@pytest.mark.parametrize(
    ("place", "pointer"),
    [
        ((), "#"),
        (("foo", 0), "#/foo/0"),
        (("",), "#/"),
        (("a/b",), "#/a~1b"),
        (("c%d",), "#/c%25d"),
        (("e^f",), "#/e%5Ef"),
        (("g|h",), "#/g%7Ch"),
        (("i\\j",), "#/i%5Cj"),
        (('k"l',), "#/k%22l"),
        ((" ",), "#/%20"),
        (("m~n",), "#/m~0n"),
        (("\ud800",), "#/?"),
    ],
)
def test_json_pointer__escapes_as_a_fragment(place: tuple[str | int, ...], pointer: str) -> None:
    assert json_pointer(place) == pointer
