import pytest

from registry.wording import counted, percent_text, wait_text, were


@pytest.mark.parametrize(
    ("n", "shown"), [(0, "0 eggs"), (1, "1 egg"), (2, "2 eggs"), (1_204, "1,204 eggs")]
)
def test_counted__agrees_with_its_number(n, shown):
    assert counted(n, "egg") == shown


def test_counted__takes_the_plural_that_it_is_given():
    assert [counted(n, "clutch", "clutches") for n in (1, 3)] == ["1 clutch", "3 clutches"]


@pytest.mark.parametrize(
    ("chance", "shown"),
    [
        (0, "0 %"),
        (1e-9, "below 0.1 %"),
        (0.001, "0.1 %"),
        (0.3333, "33.3 %"),
        (0.5, "50 %"),
        (0.9988, "99.9 %"),
        (0.99999, "above 99.9 %"),
        (1, "100 %"),
    ],
)
def test_percent_text__is_0_or_100_only_for_what_is_certain(chance, shown):
    assert percent_text(chance) == shown


@pytest.mark.parametrize(
    ("seconds", "shown"),
    [
        (1, "1 second"),
        (0.2, "1 second"),
        (119, "119 seconds"),
        (120, "2 minutes"),
        (121, "3 minutes"),
        (7_199, "120 minutes"),
        (7_200, "2 hours"),
        (86_399, "24 hours"),
    ],
)
def test_wait_text__is_never_too_short(seconds, shown):
    assert wait_text(seconds) == shown


@pytest.mark.parametrize(
    ("number", "shown"), [("1", "1 was"), ("0", "0 were"), ("0.5", "0.5 were"), ("11", "11 were")]
)
def test_were__is_singular_for_exactly_one(number, shown):
    assert were(number) == shown
