"""Segmentation of words into names and modifiers."""

import pytest

from genetics.errors import GeneOfAnotherSpeciesError, UnknownGeneError
from genetics.notation.names import names_of
from genetics.notation.segments import segmentations, unknown_word_error
from genetics.notation.text import tokens_of
from tests.factories.species import made_up_species

INDEX = names_of(made_up_species())


def cut(text):
    return {
        tuple(" ".join(piece.words) for piece in pieces)
        for pieces in segmentations(INDEX, tokens_of(text))
    }


def mistake_in(text, other_species=()):
    pieces = segmentations(INDEX, tokens_of(text))[0]
    return unknown_word_error(
        index=INDEX, species="made-up gecko", pieces=pieces, other_species=dict(other_species)
    )


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("fern lake", {("fern lake",)}),
        ("ember dusk", {("ember dusk",)}),
        ("ember, dusk", {("ember", "dusk")}),
        ("dusk ember", {("dusk", "ember")}),
        ("dusk fern lake", {("dusk", "fern lake"), ("dusk fern", "lake")}),
        ("dusk/fern lake", {("dusk", "fern lake")}),
        ("super ember", {("super ember",)}),
        ("super hollow", {("super", "hollow")}),
        ("sand and salt", {("sand salt",)}),
        ("s & s wild-type", {("s s", "wild type")}),
        ("66 % het dusk", {("66 %", "het", "dusk")}),
    ],
)
def test_segmentations__takes_the_fewest_pieces(text, expected):
    assert cut(text) == expected


def test_segmentations__never_joins_words_over_a_comma():
    assert cut("fern, lake") == {("fern", "lake")}
    assert mistake_in("fern, lake").fields["word"] == "fern"


def test_segmentations__stays_small_on_text_with_many_ways():
    assert len(segmentations(INDEX, tokens_of("dusk fern lake " * 30))) <= 16


def test_unknown_word_error__names_the_stretch_and_not_the_text():
    mistake = mistake_in("ember bright shiny dusk odd")
    assert isinstance(mistake, UnknownGeneError)
    assert mistake.fields["word"] == "bright shiny"


def test_unknown_word_error__is_none_where_all_is_known():
    assert mistake_in("super hollow 50% het dusk") is None


def test_unknown_word_error__names_the_other_species():
    mistake = mistake_in("ember old moss", {"moss": ["marsh newt", "bog newt"]})
    assert isinstance(mistake, GeneOfAnotherSpeciesError)
    assert mistake.fields == {"word": "moss", "known_in": ["bog newt", "marsh newt"]}
    assert "known in the bog newt and the marsh newt" in mistake.message


def test_unknown_word_error__takes_part_of_an_own_name_for_that_name():
    mistake = mistake_in("fern", {"fern": ["bog newt"]})
    assert isinstance(mistake, UnknownGeneError)
    assert mistake.fields["suggestions"][0] in {"Fern Lake", "Dusk Fern"}
