"""Suggestions for words nobody knows."""

import pytest

from genetics.notation.names import names_of
from genetics.notation.nearest import MOST_SUGGESTIONS, is_part_of_a_name, nearest_names
from tests.factories.species import FIXTURES, made_up_species, species_from_file

BALL_PYTHON = species_from_file(FIXTURES / "catalogue" / "ball-python.json")


def test_nearest_names__gives_every_line_of_a_name_cut_short():
    lines = {"Axanthic (VPI)", "Axanthic (TSK)", "Axanthic (MJ)", "Axanthic (Jolliff)"}
    assert lines <= set(nearest_names(names_of(BALL_PYTHON), "axanthic"))


@pytest.mark.parametrize(
    ("typo", "meant"),
    [("pastell", "Pastel"), ("clwn", "Clown"), ("moajve", "Mojave"), ("pinstrip", "Pinstripe")],
)
def test_nearest_names__puts_the_name_meant_first(typo, meant):
    assert nearest_names(names_of(BALL_PYTHON), typo)[0] == meant


def test_nearest_names__looks_at_single_words_of_a_stretch():
    found = nearest_names(names_of(made_up_species()), "embr holow")
    assert {"Ember", "Hollow"} <= set(found)


def test_nearest_names__says_nothing_where_nothing_is_near():
    assert nearest_names(names_of(made_up_species()), "zzzzzz") == ()


def test_nearest_names__is_short():
    assert len(nearest_names(names_of(BALL_PYTHON), "super")) == MOST_SUGGESTIONS


@pytest.mark.parametrize(("words", "is_part"), [("fern", True), ("lake fern", True), ("x", False)])
def test_is_part_of_a_name__compares_whole_words(words, is_part):
    assert is_part_of_a_name(names_of(made_up_species()), words) is is_part
