"""Words, separators and chances of a text."""

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from genetics.errors import ChanceOutOfRangeError, UnreadableTextError
from genetics.notation.text import (
    LONGEST_TEXT,
    Gap,
    chance_wording,
    normal_form,
    readable_tokens,
    refuse_long_text,
    tokens_of,
)


@pytest.mark.parametrize(
    ("name", "expected"),
    [
        ("8-Ball", "8 ball"),
        ("Axanthic (VPI)", "axanthic vpi"),
        ("W&Y", "w y"),
        ("White and Yellow", "white yellow"),
        ("Keeper\u2019s  Own", "keepers own"),
        ("\uff30\uff41\uff53\uff54\uff45\uff4c", "pastel"),
        ("Noir D\u00e9sir", "noir desir"),
        ("STRASSE", normal_form("stra\u00dfe")),
    ],
)
def test_normal_form__drops_case_accents_and_punctuation(name, expected):
    assert normal_form(name) == expected


def test_tokens_of__tells_blanks_joiners_and_commas_apart():
    gaps = [(token.word, token.gap) for token in tokens_of("a b-c / d & e and f + g, h; i")]
    soft, joiner, hard = Gap.SOFT, Gap.JOINER, Gap.HARD
    assert gaps == [
        ("a", soft),
        ("b", soft),
        ("c", soft),
        ("d", joiner),
        ("e", joiner),
        ("f", joiner),
        ("g", joiner),
        ("h", hard),
        ("i", hard),
    ]


@pytest.mark.parametrize(
    ("text", "chance"),
    [
        ("66%", Fraction(2, 3)),
        ("66 %", Fraction(2, 3)),
        ("66.6%", Fraction(2, 3)),
        ("66.67 percent", Fraction(2, 3)),
        ("67%", Fraction(2, 3)),
        ("33%", Fraction(1, 3)),
        ("33.3%", Fraction(1, 3)),
        ("66.0%", Fraction(33, 50)),
        ("50%", Fraction(1, 2)),
        ("12.5%", Fraction(1, 8)),
        ("100%", Fraction(1)),
        ("2/7 het", Fraction(2, 7)),
    ],
)
def test_tokens_of__reads_the_chances_of_the_trade(text, chance):
    assert tokens_of(text)[0].chance == chance


@pytest.mark.parametrize("text", ["0% het a", "100.5% het a", "8/7 het a", "1/0 het a"])
def test_tokens_of__refuses_a_chance_outside_0_to_100(text):
    with pytest.raises(ChanceOutOfRangeError, match="above 0 and at most at 100 %"):
        tokens_of(text)


@given(st.fractions(Fraction(1, 10**4), Fraction(1), max_denominator=10**4))
def test_chance_wording__reads_back_exactly(chance):
    assert tokens_of(f"{chance_wording(chance)} het")[0].chance == chance


@given(st.integers(1, 10**5))
def test_chance_wording__reads_back_exactly_near_the_round_thirds(numerator):
    chance = Fraction(numerator, 10**5)
    assert tokens_of(f"{chance_wording(chance)} het")[0].chance == chance


@pytest.mark.parametrize(
    ("chance", "wording"),
    [
        (Fraction(2, 3), "66%"),
        (Fraction(33, 50), "66.0%"),
        (Fraction(67, 100), "67.0%"),
        (Fraction(666, 1000), "66.60%"),
        (Fraction(1, 3), "33%"),
        (Fraction(1, 40), "2.5%"),
        (Fraction(2, 7), "2/7"),
    ],
)
def test_chance_wording__says_thirds_as_the_trade_does(chance, wording):
    assert chance_wording(chance) == wording


@pytest.mark.parametrize("text", ["", "  ", ", / &", "66%", "8", "\U0001f40d"])
def test_readable_tokens__refuses_text_without_letters(text):
    with pytest.raises(UnreadableTextError, match="names no gene"):
        readable_tokens(text)


def test_refuse_long_text__lets_500_characters_pass_and_no_more():
    refuse_long_text("a" * LONGEST_TEXT)
    with pytest.raises(UnreadableTextError, match="501 characters; at most 500"):
        refuse_long_text("a" * (LONGEST_TEXT + 1))


@pytest.mark.parametrize("text", ["dusk/+", "dusk / +", "+/dusk"])
def test_readable_tokens__refuses_a_gene_over_a_wild_type_sign(text):
    with pytest.raises(UnreadableTextError, match="over a wild type sign"):
        readable_tokens(text)


@pytest.mark.parametrize(
    "text",
    [
        "-5% het dusk", "\u22125% het dusk", "\u2212 5 % het dusk", "-0.5 percent het dusk",
        "clown, -66% het dusk", "clown -66% het dusk", "het \u2013 clown \u20135% het dusk",
        "-1/2 het dusk", "clown\u221266% het dusk", "(-5% het dusk)", "-2x dusk",
        "\uff0d5% het dusk", "--5% het dusk",
    ],
)  # fmt: skip
def test_readable_tokens__refuses_a_minus_before_a_number(text):
    with pytest.raises(UnreadableTextError, match="has a minus before a number") as caught:
        readable_tokens(text)
    assert caught.value.details() == {"text": text}


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("66%-het-dusk", ["66%", "het", "dusk"]),
        ("66-% het dusk", ["66-%", "het", "dusk"]),
        ("clown-66% het dusk", ["clown", "66%", "het", "dusk"]),
        ("clown - 66% het dusk", ["clown", "66%", "het", "dusk"]),
        ("clown \u2013 66% het dusk", ["clown", "66%", "het", "dusk"]),
        ("66% -het dusk", ["66%", "het", "dusk"]),
        ("66%-50% het dusk", ["66%", "50%", "het", "dusk"]),
        ("clown,-66%-het-dusk", ["clown", "66%", "het", "dusk"]),
        ("clown-,--2x-dusk", ["clown", "2x", "dusk"]),
        ("clown -8-ball", ["clown", "8", "ball"]),
        ("clown-2x", ["clown", "2x"]),
        ("clown\u2212dusk", ["clown", "dusk"]),
    ],
)
def test_readable_tokens__takes_a_hyphen_that_separates(text, words):
    assert [token.word for token in readable_tokens(text)] == words
