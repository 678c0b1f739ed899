"""Nearest names."""

from registry.api.nearest import nearest_names


def test_nearest_names__gives_like_ones_nearest_first() -> None:
    assert nearest_names("Seazon", ["reason", "season", "sire"])[0] == "season"
    assert nearest_names("qqq", ["season", "sire"]) == []
    assert nearest_names("s" * 101, ["s" * 100]) == []
