"""Which of several short combinations is the news."""

from math import exp, fsum, inf, log

import pytest

from genetics.evidence.evalue import PSI_WEIGHTS, RATE_WEIGHTS, e_value, target_viability
from genetics.evidence.explanations import SHARES_MISTAKEN
from genetics.evidence.likelihood import pool_likelihood
from genetics.evidence.lower_order import (
    RATIOS,
    RATIOS_CALLED,
    beyond_parts,
    beyond_whole,
    is_part,
)
from tests.factories.pools import MARSH, pair_row, target
from tests.oracles.latent_families import (
    called,
    hatching,
    hatching_less,
    log_chance,
    pool_chances,
)

NEWS = 3.0
"""Logarithm of an e-value of 1,000."""

RATES = [*(k / 2000 for k in range(2001)), 1e-3, 1e-4]


def pool(looks, *rows):
    return [(MARSH, target(MARSH, *looks), dict(rows))]


def pair_pool(cells, times=20, looks=("Clay", "Dune"), sire="Clay, Dune", dam=""):
    cells = {cell: n for cell, n in enumerate(cells) if n}
    return pool(looks, (pair_row(MARSH, sire, dam, cells), times))


def evidence(pools):
    return e_value(pool_likelihood(pools, target_viability(pools[0][1]))).log10


# --- parts ------------------------------------------------------------------------------------


def test_beyond_parts__explain_a_pair_by_a_gene_that_falls_short():
    """Half of all Clay is missing, with Dune or without."""
    short = pair_pool((8, 4, 8, 4), times=25)
    assert evidence(short) > NEWS
    found = beyond_parts(short)
    assert found.log10 < 0
    assert (found.other, found.ratio) == ("Clay", 0.5)
    other = beyond_parts(pair_pool((8, 8, 2, 2)))
    assert other.log10 < 0
    assert (other.other, other.ratio) == ("Dune", pytest.approx(0.25, abs=0.06))


def test_beyond_parts__find_a_lethal_pair_to_be_news():
    found = beyond_parts(pair_pool((8, 8, 8, 0)))
    assert found.log10 > NEWS
    assert found.log10 < evidence(pair_pool((8, 8, 8, 0)))


def test_beyond_parts__find_no_news_in_a_pair_as_expected():
    assert beyond_parts(pair_pool((8, 8, 8, 8))).log10 < 0


def test_beyond_parts__do_not_tell_apart_a_pair_that_is_shorter_than_its_short_part():
    """Clay at one half, the pair at one half again: the part is the news, the pair waits for it.

    The alternative lets the whole alone be short. Both at once would be a third kind, and its
    weight would be taken from the others.
    """
    found = beyond_parts(pair_pool((16, 8, 16, 4)))
    assert found.log10 < 0
    assert found.other == "Clay"


def test_beyond_parts__find_a_lethal_pair_in_a_gene_that_falls_short():
    """Clay at one half, the pair never, or hardly ever."""
    assert beyond_parts(pair_pool((16, 8, 16, 0))).log10 > NEWS
    assert beyond_parts(pair_pool((12, 6, 12, 1))).log10 > NEWS


@pytest.mark.parametrize("cells", [(8, 16, 8, 0), (8, 8, 16, 0), (16, 8, 8, 0)])
def test_beyond_parts__find_a_pair_to_be_news_that_is_taken_for_something_else(cells):
    """The pair is called by one of its genes, or by none: no gene is short by itself."""
    assert beyond_parts(pair_pool(cells)).log10 > NEWS


TRIPLE = {"looks": ("Clay", "Dune", "Fen"), "sire": "Clay, Dune", "dam": "Fen"}


def test_beyond_parts__explain_a_triple_by_its_short_pair():
    short = pair_pool((4, 4, 4, 0, 4, 4, 4, 0), **TRIPLE)
    assert evidence(short) > NEWS
    found = beyond_parts(short)
    assert found.log10 < 0.01
    assert (found.other, found.ratio) == ("Clay Dune", 0)


def test_beyond_parts__explain_a_triple_by_a_pair_of_first_and_last():
    found = beyond_parts(pair_pool((5, 5, 5, 5, 5, 1, 5, 1), **TRIPLE))
    assert found.log10 < 0
    assert (found.other, found.ratio) == ("Clay Fen", 0.2)


def test_beyond_parts__find_a_triple_to_be_news_whose_pairs_all_hatch():
    found = beyond_parts(pair_pool((4, 4, 4, 4, 4, 4, 4, 0), **TRIPLE))
    assert found.log10 > NEWS


def test_beyond_parts__of_a_single_gene_are_none():
    assert beyond_parts(pair_pool((4, 1), looks=("Ash",), sire="Ash", dam="Ash")) is None


def test_beyond_parts__of_a_compound_are_its_two_genes():
    short = {"looks": ("Reedmace",), "sire": "Reed", "dam": "Rush"}
    found = beyond_parts(pair_pool((8, 2, 8, 2), **short))
    assert (found.other, found.ratio) == ("Reed", pytest.approx(0.25, abs=0.06))
    assert found.log10 < 0
    assert beyond_parts(pair_pool((8, 8, 8, 0), **short)).log10 > NEWS


def test_beyond_parts__of_what_no_parents_could_give_are_no_news():
    assert beyond_parts(pair_pool((0, 0, 0, 3), sire="", dam="")).log10 == 0


@pytest.mark.parametrize(
    "pools",
    [
        pair_pool((3, 1, 2, 0), times=1),
        pair_pool((2, 2, 1, 1), times=2, sire="Clay", dam="Dune? 2/3"),
    ],
)
def test_beyond_parts__are_the_mixture_over_the_best_part(pools):
    ratios = {}
    for mask in (1, 2):
        for ratio in RATIOS:
            ratios[mask, "lost", ratio] = best_log(pools, lost(mask, ratio))
        for ratio in RATIOS_CALLED:
            ratios[mask, "called", ratio] = best_log(pools, unseen(mask, mask, 1 - ratio))
    mixture = fsum(
        weight / 2 * mean_chance(pools, hatching(psi)) for psi, weight in PSI_WEIGHTS.items()
    )
    goings = [(gone, share) for gone in (1, 2, 3) for share in SHARES_MISTAKEN]
    mixture += fsum(
        mean_chance(pools, unseen(3, gone, share)) / (2 * len(goings)) for gone, share in goings
    )
    found = beyond_parts(pools)
    best = max(ratios.values())
    assert found.log10 == pytest.approx((log(mixture) - best) / log(10), abs=1e-5)
    assert any(
        found.ratio == key[2] and value == pytest.approx(best, abs=1e-9)
        for key, value in ratios.items()
    )


def lost(mask, ratio):
    """Cells with all of these bits hatch ``ratio`` as often."""
    return hatching_less(lambda cell, _n: cell & mask == mask, ratio)


def unseen(mask, gone, share):
    """A share of the cells with all bits of ``mask`` is called as if ``gone`` were not there."""
    return called(lambda cell, _n: cell & ~gone if cell & mask == mask else cell, share)


def best_log(pools, way):
    families = pool_chances(pools, way)
    return max(log_chance(families, rate) for rate in RATES)


def mean_chance(pools, way):
    families = pool_chances(pools, way)
    return fsum(
        weight * exp(log_chance(families, rate))
        for rate, weight in RATE_WEIGHTS.items()
        if log_chance(families, rate) > -inf
    )


# --- wholes -----------------------------------------------------------------------------------

CLAY = target(MARSH, "Clay")


def clay_pool(cells, times=20):
    return pool(("Clay",), (pair_row(MARSH, "Clay", "", dict(enumerate(cells))), times))


def test_beyond_whole__explain_a_gene_by_its_lethal_pair():
    """Where both can hatch a third of Clay is missing; elsewhere Clay hatches as it should."""
    lethal = pair_pool((8, 8, 8, 0))
    as_single = pool(("Clay",), (pair_row(MARSH, "Clay, Dune", "", {0: 16, 1: 8}), 20))
    assert evidence(as_single) > NEWS
    found = beyond_whole(clay_pool((12, 12)), lethal, CLAY)
    assert found.log10 < 0
    assert (found.other, found.ratio) == ("Clay Dune", 0)
    assert beyond_whole([], lethal, CLAY).log10 < 0


def test_beyond_whole__find_a_gene_to_be_news_that_is_short_by_itself():
    """Clay at a quarter, with Dune or without, there or elsewhere."""
    found = beyond_whole([], pair_pool((8, 2, 8, 2)), CLAY)
    assert found.log10 > NEWS
    # A gene that falls short elsewhere is news whatever the pair does, once parents are proved.
    elsewhere = pair_row(MARSH, "Clay", "", {0: 16, 1: 4})
    more = beyond_whole(pool(("Clay",), (elsewhere, 20)), pair_pool((8, 2, 8, 2)), CLAY)
    assert more.log10 > found.log10 + NEWS


def test_beyond_whole__is_the_product_of_two_e_values():
    lethal, elsewhere = pair_pool((8, 8, 8, 0), times=3), clay_pool((9, 3), times=2)
    apart = beyond_whole([], lethal, CLAY).log10 + evidence(elsewhere)
    assert beyond_whole(elsewhere, lethal, CLAY).log10 == pytest.approx(apart, rel=1e-12)


def test_beyond_whole__explain_a_pair_by_its_lethal_triple():
    lethal = pair_pool((4, 4, 4, 4, 4, 4, 4, 0), **TRIPLE)
    found = beyond_whole([], lethal, target(MARSH, "Clay", "Dune"))
    assert found.log10 < 0
    assert found.other == "Clay Dune Fen"
    short_pair = pair_pool((4, 4, 4, 0, 4, 4, 4, 0), **TRIPLE)
    assert beyond_whole([], short_pair, target(MARSH, "Clay", "Dune")).log10 > NEWS
    # Of the triple's cells only those with the pair's own genes count for the pair.
    assert beyond_whole([], short_pair, target(MARSH, "Dune", "Fen")).log10 < 0.01


def test_beyond_whole__is_the_mixture_over_the_best_ratio():
    pools = pair_pool((3, 1, 2, 0), times=1)
    logs = [best_log(pools, hatching(ratio)) for ratio in RATIOS]
    logs += [
        best_log(pools, unseen(3, gone, 1 - ratio)) for gone in (1, 2, 3) for ratio in RATIOS_CALLED
    ]

    def both(psi, ratio):
        part = hatching_less(lambda cell, _n: bool(cell & 1), psi)
        whole = hatching(ratio)
        return pool_chances(pools, lambda chances: part(whole(chances)))

    mixture = fsum(
        weight / len(RATIOS) * rate_weight * exp(log_chance(families, rate))
        for psi, weight in PSI_WEIGHTS.items()
        for ratio in RATIOS
        for families in [both(psi, ratio)]
        for rate, rate_weight in RATE_WEIGHTS.items()
        if log_chance(families, rate) > -inf
    )
    found = beyond_whole([], pools, CLAY)
    assert found.log10 == pytest.approx((log(mixture) - max(logs)) / log(10), abs=1e-5)


def test_beyond_whole__explain_a_gene_by_a_pair_that_is_taken_for_the_other_gene():
    """All pairs are called Dune: Clay is short, and that is why."""
    found = beyond_whole(clay_pool((12, 12)), pair_pool((8, 8, 16, 0)), CLAY)
    assert found.log10 < 0
    assert (found.other, found.ratio) == ("Clay Dune", 0)


def test_is_part__holds_for_some_of_the_factors():
    pair, triple = target(MARSH, "Clay", "Dune"), target(MARSH, "Clay", "Dune", "Fen")
    assert is_part(CLAY, pair)
    assert is_part(CLAY, triple)
    assert is_part(pair, triple)
    assert not is_part(pair, pair)
    assert not is_part(pair, CLAY)
    assert not is_part(target(MARSH, "Ash"), pair)
    assert not is_part(target(MARSH, "Ash", "Clay"), triple)
