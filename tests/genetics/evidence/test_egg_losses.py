"""What dead eggs say, against integrals by quadrature and hand-made pools."""

from math import log

import pytest
from scipy.integrate import quad
from scipy.special import beta as beta_function

from genetics.evidence.egg_losses import log_egg_chances
from tests.factories.pools import MARSH, pair_row, target

LAWS = [
    (mean, spread)
    for mean in (0.01, 0.03, 0.06, 0.1, 0.15, 0.2, 0.3, 0.4)
    for spread in (3.0, 12.0, 60.0)
]
PSIS = (0.0, 0.1, 0.3, 0.7)
PAIR = ("Clay", "Dune")
QUARTER, NINE_SIXTEENTHS = ("Clay, Dune", ""), ("Clay, Dune", "Clay, Dune")
EIGHTH = ("Clay, Dune? 1/2", "")


def pool(*clutches):
    """Clutches as (parents, hatched, died, how many)."""
    asked = target(MARSH, *PAIR)
    rows = {
        pair_row(MARSH, *parents, {0: hatched}, n_died=died): times
        for parents, hatched, died, times in clutches
    }
    assert len(rows) == len(clutches)
    return [(MARSH, asked, rows)]


def by_quadrature(clutches, psi):
    """Mean over the laws of loss rates of the product over clutches of an integral each.

    A hit is lost at 1 - psi besides the loss that hits every egg. The poles of a beta law at 0 and
    1 are left to QUADPACK's rule for algebraic ones.
    """
    total = 0.0
    for mean, spread in LAWS:
        one, other = mean * spread, (1 - mean) * spread
        product = 1.0
        for _parents, chance, hatched, died, times in clutches:

            def chance_of_eggs(rate, chance=chance, hatched=hatched, died=died):
                kept = (1 - rate) * (1 - (1 - psi) * chance)
                return (1 - kept) ** died * kept**hatched

            integral, _error = quad(
                chance_of_eggs, 0, 1, weight="alg", wvar=(one - 1, other - 1), epsrel=1e-9, epsabs=0
            )
            product *= (integral / beta_function(one, other)) ** times
        total += product
    return total


@pytest.mark.parametrize(
    "clutches",
    [
        [(QUARTER, 1 / 4, 6, 2, 1)],
        [(QUARTER, 1 / 4, 9, 0, 2)],
        [(QUARTER, 1 / 4, 3, 2, 1), (NINE_SIXTEENTHS, 9 / 16, 4, 3, 2)],
        [(EIGHTH, 1 / 8, 12, 3, 1), (QUARTER, 1 / 4, 12, 3, 1)],
        [(QUARTER, 1 / 4, 6, 2, 20)],
        [(EIGHTH, 1 / 8, 14, 2, 7), (QUARTER, 1 / 4, 12, 4, 7), (NINE_SIXTEENTHS, 9 / 16, 7, 9, 6)],
    ],
)
def test_log_egg_chances__are_integrals_over_the_loss_rate(clutches):
    """The module sums over stretches of loss rates: some hundredths of a unit for 20 clutches."""
    found = log_egg_chances(pool(*((p, h, d, t) for p, _c, h, d, t in clutches)), PSIS)
    mendel = by_quadrature(clutches, 1.0)
    for psi, one in zip(PSIS, found, strict=True):
        assert one == pytest.approx(log(by_quadrature(clutches, psi) / mendel), abs=0.03)


def test_log_egg_chances__without_counted_eggs_say_nothing():
    uncounted = pool((QUARTER, 6, None, 5), (NINE_SIXTEENTHS, 4, None, 2))
    assert log_egg_chances(uncounted, PSIS) == pytest.approx([0] * 4, abs=1e-12)
    counted = pool((QUARTER, 6, 2, 1))
    both = pool((QUARTER, 6, 2, 1), (NINE_SIXTEENTHS, 4, None, 2))
    assert (log_egg_chances(counted, PSIS) == log_egg_chances(both, PSIS)).all()


def test_log_egg_chances__favour_viability_where_more_die_that_are_likelier_to_be_it():
    """Losses of 1/8, 1/4 and 9/16, as a lethal pair alone would have them."""
    found = log_egg_chances(
        pool((EIGHTH, 14, 2, 20), (QUARTER, 12, 4, 20), (NINE_SIXTEENTHS, 7, 9, 20)), (0.0, 0.5)
    )
    assert found[0] > 10
    assert found[0] > found[1] > 0


def test_log_egg_chances__speak_against_viability_where_fewer_die():
    turned = log_egg_chances(
        pool((EIGHTH, 7, 9, 20), (QUARTER, 12, 4, 20), (NINE_SIXTEENTHS, 14, 2, 20)), (0.0, 0.5)
    )
    assert turned[0] < turned[1] < -3


@pytest.mark.parametrize(("hatched", "died"), [(13, 3), (10, 6), (19, 1)])
def test_log_egg_chances__of_the_same_loss_everywhere_do_not_favour_it(hatched, died):
    """Eggs die for other reasons; losses that do not follow the combination prove nothing."""
    same = log_egg_chances(
        pool((EIGHTH, hatched, died, 20), (QUARTER, hatched, died, 20),
             (NINE_SIXTEENTHS, hatched, died, 20)),
        PSIS,
    )  # fmt: skip
    assert max(same) < 0.5


def test_log_egg_chances__of_one_kind_of_pair_say_little_where_a_quarter_is_lost():
    """Loss of a quarter is what many clutches have anyway (Morrill et al. 2011: 19 %)."""
    found = log_egg_chances(pool((QUARTER, 6, 2, 1)), PSIS)
    assert abs(found).max() < 1.2


def test_log_egg_chances__count_how_often_a_row_occurs_and_every_version():
    once = pool((QUARTER, 6, 2, 1))
    thrice = pool((QUARTER, 6, 2, 3))
    assert log_egg_chances([*once, *once, *once], PSIS) == pytest.approx(
        log_egg_chances(thrice, PSIS), rel=1e-12
    )
    assert abs(log_egg_chances(thrice, PSIS) - log_egg_chances(once, PSIS)).max() > 0.05
