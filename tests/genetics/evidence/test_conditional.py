"""Evidence given the margins, against Fisher's noncentral law and published stratified tables."""

import json
from fractions import Fraction
from itertools import combinations_with_replacement, product
from math import comb, exp, fsum, inf, log, log10
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import minimize_scalar
from scipy.stats import nchypergeom_fisher

from genetics.evidence.conditional import log_chances, specific_evidence
from genetics.evidence.evalue import PSI_WEIGHTS
from genetics.model.belief import Phase
from genetics.model.linkage import Linkage
from genetics.model.locus import Allele, Locus, Mode
from genetics.model.species import Sex, SexSystem, Species
from genetics.pool.pool import ClutchCounts
from tests.factories.pairings import stated
from tests.factories.pools import MARSH, counts, pair_row, row, target

REFERENCE = json.loads(
    (Path(__file__).parents[3] / "fixtures/reference/stratified_tables.json").read_text("utf-8")
)
BY_NAME = {one["name"]: one for one in REFERENCE["values"]}
NOTHING = pytest.approx(0, abs=1e-15)
RATIOS = (0.0, 0.01, 0.3, 1.0, 2.5, 40.0)


def law(n, with_part, with_rest, ratio):
    """Chance of every number with both, from the log-chances of each."""
    least, most = max(0, with_part + with_rest - n), min(with_part, with_rest)
    return {
        both: exp(log_chances((n, with_part, with_rest, both), (ratio,))[0])
        for both in range(least, most + 1)
    }


# --- the law ----------------------------------------------------------------------------------


@settings(max_examples=150, deadline=None)
@given(data=st.data())
def test_log_chances__are_fishers_noncentral_law(data):
    n = data.draw(st.integers(1, 60))
    with_part, with_rest = (data.draw(st.integers(0, n)) for _ in "ab")
    least, most = max(0, with_part + with_rest - n), min(with_part, with_rest)
    ratios = (*RATIOS, data.draw(st.floats(0.001, 100)))
    for both in range(least, most + 1):
        found = log_chances((n, with_part, with_rest, both), ratios)
        assert found[0] == (0 if both == least else -inf)
        for ratio, one in zip(ratios[1:], found[1:], strict=True):
            expected = nchypergeom_fisher.pmf(both, n, with_part, with_rest, ratio)
            # The reference is exact to about 1e-10 of its largest chance.
            assert exp(one) == pytest.approx(expected, rel=1e-8, abs=1e-9)


@settings(max_examples=60, deadline=None)
@given(data=st.data(), ratio=st.sampled_from(RATIOS[1:]))
def test_log_chances__are_products_of_binomial_coefficients(data, ratio):
    """In integers and one power, to full precision also in the far tails."""
    n = data.draw(st.integers(1, 40))
    with_part, with_rest = (data.draw(st.integers(0, n)) for _ in "ab")
    weights = {
        both: comb(with_part, both) * comb(n - with_part, with_rest - both) * ratio**both
        for both in range(max(0, with_part + with_rest - n), min(with_part, with_rest) + 1)
    }
    for both, weight in weights.items():
        found = log_chances((n, with_part, with_rest, both), (ratio,))[0]
        assert found == pytest.approx(
            log(weight) - log(fsum(weights.values())), rel=1e-9, abs=1e-11
        )


def test_log_chances__go_over_into_never():
    """The smaller the odds ratio, the nearer to all chance on the least number."""
    for both in (2, 3):
        limit, *near = log_chances((10, 6, 6, both), (0.0, 1e-12, 1e-9))
        assert exp(limit) == (1 if both == 2 else 0)
        assert np.exp(near) == pytest.approx(exp(limit), abs=1e-7)


# --- published tables -------------------------------------------------------------------------


def as_tables(strata):
    """[[both, ...], [...]] -> hatchlings, first row, first column, both."""
    return [(a + b + c + d, a + b, a + c, a) for (a, b), (c, d) in strata]


def log_likelihood(tables, ratio):
    return fsum(log_chances(table, (ratio,))[0] for table in tables)


def conditional_estimate(tables):
    found = minimize_scalar(
        lambda log_ratio: -log_likelihood(tables, exp(log_ratio)),
        bounds=(-6, 6),
        options={"xatol": 1e-9},
    )
    return exp(found.x)


def total_law(tables, ratio):
    """Law of the sum of the both-cells of all tables."""
    total = {0: 1.0}
    for n, with_part, with_rest, _both in tables:
        grown = {}
        for one, chance in total.items():
            for both, here in law(n, with_part, with_rest, ratio).items():
                grown[one + both] = grown.get(one + both, 0.0) + chance * here
        total = grown
    return total


@pytest.mark.parametrize("name", ["Rabbits and penicillin", "Fisher's tea"])
def test_log_chances__give_the_published_exact_results(name):
    """R mantelhaen.test(exact = TRUE) and fisher.test: estimate, p-value, limits."""
    tables = as_tables(BY_NAME[name]["strata"])
    published = BY_NAME[name]["conditional"]
    assert conditional_estimate(tables) == pytest.approx(published["odds_ratio"], rel=1e-5)
    seen = sum(table[3] for table in tables)

    def upper(ratio):
        return fsum(chance for both, chance in total_law(tables, ratio).items() if both >= seen)

    def lower(ratio):
        return fsum(chance for both, chance in total_law(tables, ratio).items() if both <= seen)

    assert upper(1) == pytest.approx(published["one_sided_p"], abs=5e-6)
    low, high = published["ci95"]
    # R looks for the limits with a root finder that stops at 1.2e-4 of the limit's reciprocal.
    assert upper(low) == pytest.approx(0.025, rel=2e-2)
    assert lower(high) == pytest.approx(0.025, rel=2e-2)


@pytest.mark.parametrize("name", ["Berkeley admissions", "Rabbits and penicillin"])
def test_log_chances__have_the_moments_of_the_published_statistic(name):
    """Cochran-Mantel-Haenszel: squared distance of the total from its mean over its variance."""
    tables = as_tables(BY_NAME[name]["strata"])
    published = BY_NAME[name]["mantel_haenszel"]
    difference, variance = 0.0, 0.0
    for n, with_part, with_rest, both in tables:
        chances = law(n, with_part, with_rest, 1.0)
        mean = fsum(one * chance for one, chance in chances.items())
        difference += both - mean
        variance += fsum((one - mean) ** 2 * chance for one, chance in chances.items())
    corrected = (abs(difference) - 0.5) ** 2 / variance
    assert corrected == pytest.approx(published["chi2_continuity_corrected"], rel=1e-5)
    if "chi2" in published:
        assert difference**2 / variance == pytest.approx(published["chi2"], rel=1e-10)


def test_log_chances__put_the_common_odds_ratio_where_mantel_and_haenszel_do():
    """Not the same estimator: conditional likelihood here, 0.90470 published for the other.

    With hundreds in every table the two differ by far less than the interval is wide.
    """
    published = BY_NAME["Berkeley admissions"]["mantel_haenszel"]
    tables = as_tables(BY_NAME["Berkeley admissions"]["strata"])
    # The estimator that was published, from the same tables: the reading of the table is right.
    top = fsum(both * (n - p - r + both) / n for n, p, r, both in tables)
    bottom = fsum((p - both) * (r - both) / n for n, p, r, both in tables)
    assert top / bottom == pytest.approx(published["odds_ratio"], rel=1e-10)
    found = conditional_estimate(tables)
    assert found == pytest.approx(published["odds_ratio"], rel=2e-3)
    # Likelihood ratio and published Wald interval agree to a few parts in a thousand.
    for end in published["ci95"]:
        drop = 2 * (log_likelihood(tables, found) - log_likelihood(tables, end))
        assert drop == pytest.approx(1.959964**2, rel=0.02)


# --- evidence of a pool -----------------------------------------------------------------------


def by_formula(tables):
    """Mixture over psi of ratios of scipy's law, at psi and at 1; never by its limit."""
    total = 0.0
    for psi, weight in PSI_WEIGHTS.items():
        ratio = 1.0
        for n, with_part, with_rest, both in tables:
            mendel = nchypergeom_fisher.pmf(both, n, with_part, with_rest, 1)
            if psi:
                ratio *= nchypergeom_fisher.pmf(both, n, with_part, with_rest, psi) / mendel
            else:
                ratio *= (both == max(0, with_part + with_rest - n)) / mendel
        total += weight * ratio
    return log10(total)


def evidence(*rows, looks=("Clay", "Dune"), species=MARSH):
    return specific_evidence([(species, target(species, *looks), dict(rows))])


def both_row(cells, sire="Clay, Dune", dam=""):
    return pair_row(MARSH, sire, dam, cells)


def test_specific_evidence__is_the_mixture_over_the_tables_of_all_clutches():
    asked = target(MARSH, "Clay", "Dune")
    family = row(
        MARSH,
        ["Clay, Dune", "Clay"],
        ["Dune", "Clay? 1/2"],
        ClutchCounts(0, 0, counts({0: 3, 1: 2, 2: 4})),
        ClutchCounts(0, 0, counts({0: 1, 1: 2, 2: 1, 3: 1})),
        ClutchCounts(1, 0, counts({0: 1, 1: 3, 2: 3})),
        ClutchCounts(1, 1, counts({0: 1, 1: 3})),
    )
    other = both_row({0: 2, 1: 2, 2: 2, 3: 1})
    found = specific_evidence([(MARSH, asked, {family: 2, other: 1}), (MARSH, asked, {other: 1})])
    # Clutches of one pair stay apart; the last one of the family shows no Dune and says nothing.
    tables = [(9, 2, 4, 0), (5, 3, 2, 1), (7, 3, 3, 0)] * 2 + [(7, 3, 3, 1)] * 2
    assert found.n_tables == 8
    assert found.log10 == pytest.approx(by_formula(tables), rel=1e-9)


def test_specific_evidence__is_blind_to_a_gene_that_falls_short_by_itself():
    """Clay seen in 1 of 10 whatever its partner: the e-value of the pair alone would be fooled."""
    many = {both_row({0: 9, 1: 1, 2: 9, 3: 1}): 20}
    found = specific_evidence([(MARSH, target(MARSH, "Clay", "Dune"), many)])
    assert found.log10 < 0
    missing = {both_row({0: 7, 1: 6, 2: 7}): 20}
    assert specific_evidence([(MARSH, target(MARSH, "Clay", "Dune"), missing)]).log10 > 10


@pytest.mark.parametrize("margins", [(8, 3, 4), (9, 1, 8), (12, 6, 6), (5, 4, 4)])
def test_specific_evidence__is_1_on_average_whatever_the_margins(margins):
    n, with_part, with_rest = margins
    total = 0.0
    for both, chance in law(n, with_part, with_rest, 1.0).items():
        cells = {
            0: n - with_part - with_rest + both,
            1: with_part - both,
            2: with_rest - both,
            3: both,
        }
        one = both_row({cell: count for cell, count in cells.items() if count})
        total += chance * 10 ** evidence((one, 1)).log10
    assert total == pytest.approx(1, rel=1e-12)


def test_specific_evidence__of_nothing_to_compare_is_1():
    for cells in ({0: 5}, {0: 3, 1: 4}, {2: 2, 3: 4}, {3: 6}):
        found = evidence((both_row(cells), 3))
        assert (found.log10, found.n_tables) == (NOTHING, 0)


def test_specific_evidence__needs_two_parts():
    for looks, sire in (("Clay",), "Clay"), (("Ash",), "Ash"):
        pools = [(MARSH, target(MARSH, *looks), {pair_row(MARSH, sire, "", {0: 4, 1: 2}): 1})]
        assert specific_evidence(pools) is None


# --- independence -----------------------------------------------------------------------------

TABLE = {0: 3, 1: 3, 2: 3}


def test_specific_evidence__leaves_out_clutches_with_linked_genes():
    looks = ("Gorse", "Heath")
    linked = evidence((pair_row(MARSH, "Gorse, Heath", "", TABLE), 5), looks=looks)
    assert (linked.n_tables, linked.log10) == (0, NOTHING)
    # One from each parent: they come together by chance alone.
    apart = evidence((pair_row(MARSH, "Gorse", "Heath", TABLE), 5), looks=looks)
    assert apart.n_tables == 5
    assert apart.log10 == pytest.approx(by_formula([(9, 3, 3, 0)] * 5), rel=1e-9)


def test_specific_evidence__leaves_out_a_parent_that_may_carry_both_linked_genes():
    looks = ("Gorse", "Heath")
    maybe = evidence((pair_row(MARSH, "Gorse", "Heath, Gorse? 1/2", TABLE), 5), looks=looks)
    assert maybe.n_tables == 0


def test_specific_evidence__uses_genes_of_one_chromosome_that_recombine_freely():
    free = Species(
        "free", "free gecko", SexSystem.NONE,
        tuple(Locus(n.lower(), (Allele(n, Mode.DOMINANT),)) for n in ("Clay", "Dune")),
        (Linkage(("clay", "dune"), Fraction(1, 2)),),
    )  # fmt: skip
    assert evidence((pair_row(free, "Clay, Dune", "", TABLE), 1), species=free).n_tables == 1


def test_specific_evidence__of_a_compound_needs_its_two_genes_from_different_parents():
    looks = ("Reedmace",)
    apart = evidence((pair_row(MARSH, "Reed", "Rush", TABLE), 4), looks=looks)
    assert apart.n_tables == 4
    for sire, dam in (("Reed, Rush", ""), ("Reed, Rush", "Reed"), ("Reed, Rush", "Reed, Rush")):
        found = evidence((pair_row(MARSH, sire, dam, TABLE), 4), looks=looks)
        assert (found.n_tables, found.log10) == (0, NOTHING), (sire, dam)


def test_specific_evidence__of_recessive_alleles_of_a_series_is_refused():
    """They show together or not at all, so their parts are anything but independent."""
    hidden = Species(
        "hidden", "hidden gecko", SexSystem.NONE,
        (Locus("fog", (Allele("Fog", Mode.RECESSIVE), Allele("Mist", Mode.RECESSIVE))),),
    )  # fmt: skip
    found = evidence(
        (pair_row(hidden, "Fog", "Mist", {0: 9, 3: 3}), 4), looks=("Fog Mist",), species=hidden
    )
    assert found.n_tables == 0


def test_specific_evidence__does_not_depend_on_what_the_parents_carry():
    """Same tables, same evidence: possible hets and doubtful labels change nothing."""
    values = {
        evidence((pair_row(MARSH, sire, dam, TABLE), 2)).log10
        for sire, dam in (("Clay, Dune", ""), ("Clay? 1/3", "Dune? 2/3"), ("Clay", "Clay, Dune"))
    }
    assert len(values) == 1


def test_specific_evidence__knows_a_linked_pair_by_its_phase_in_vain():
    phases = (Phase(("Gorse", "Heath"), coupling=False),)
    sire = stated(MARSH, "Gorse, Heath", Sex.MALE, phases=phases)
    assert evidence((pair_row(MARSH, sire, "", TABLE), 3), looks=("Gorse", "Heath")).n_tables == 0


# --- three genes ------------------------------------------------------------------------------


def test_specific_evidence__of_three_genes_is_the_least_over_its_three_splits():
    cells = {0: 4, 1: 5, 2: 4, 3: 6, 4: 3, 5: 2, 6: 1}
    looks = ("Clay", "Dune", "Fen")
    one = pair_row(MARSH, "Clay, Dune", "Fen", cells)
    found = evidence((one, 3), looks=looks)
    splits = []
    for part in (1, 2, 4):
        rest = 7 - part
        with_part = sum(n for cell, n in cells.items() if cell & part == part)
        with_rest = sum(n for cell, n in cells.items() if cell & rest == rest)
        splits.append(by_formula([(25, with_part, with_rest, 0)] * 3))
    assert len(set(splits)) == 3
    assert found.log10 == pytest.approx(min(splits), rel=1e-9)


def test_specific_evidence__of_three_genes_with_a_short_pair_is_weak_for_the_triple():
    """Clay and Dune hardly ever hatch together, with or without Fen: no news about the three."""
    cells = {0: 10, 1: 10, 2: 10, 3: 1, 4: 10, 5: 10, 6: 10, 7: 1}
    one = pair_row(MARSH, "Clay, Dune", "Fen", cells)
    found = evidence((one, 10), looks=("Clay", "Dune", "Fen"))
    assert found.n_tables == 10
    assert found.log10 < 0
    pair = evidence((pair_row(MARSH, "Clay, Dune", "", {0: 20, 1: 20, 2: 20}), 10))
    assert pair.log10 > 10


# --- uncertain calls --------------------------------------------------------------------------

KINDS = [(1, 3), (0, 3), (0, 1), (1, 2), (0, 1, 2), (2, 3), (0, 1, 2, 3)]


@settings(max_examples=150, deadline=None)
@given(
    sure=st.tuples(*(st.integers(0, 6) for _ in range(4))),
    unsure=st.dictionaries(st.sampled_from(KINDS), st.integers(1, 2), min_size=1, max_size=2),
)
def test_specific_evidence__of_uncertain_calls_is_at_most_that_of_whatever_they_may_be(
    sure, unsure
):
    certain = {cell: n for cell, n in enumerate(sure) if n}
    found = evidence((both_row({(cell,): n for cell, n in certain.items()} | unsure), 1)).log10
    choices = [combinations_with_replacement(cells, n) for cells, n in unsure.items()]
    for chosen in product(*choices):
        resolved = dict(certain)
        for cell in (cell for cells in chosen for cell in cells):
            resolved[cell] = resolved.get(cell, 0) + 1
        assert found <= evidence((both_row(resolved), 1)).log10 + 1e-9


def test_specific_evidence__of_an_uncertain_call_by_hand():
    # Clay, perhaps with Dune: taken for both.
    assert evidence((both_row({0: 4, 1: 2, 2: 4, (1, 3): 1}), 1)).log10 == pytest.approx(
        by_formula([(11, 3, 5, 1)]), rel=1e-9
    )
    # Nothing, perhaps Clay: taken for nothing. Clay or Dune: left out.
    assert evidence((both_row({0: 4, 1: 2, 2: 4, (0, 1): 2}), 1)).log10 == pytest.approx(
        by_formula([(12, 2, 4, 0)]), rel=1e-9
    )
    assert evidence((both_row({0: 4, 1: 2, 2: 4, (1, 2): 2}), 1)).log10 == pytest.approx(
        by_formula([(10, 2, 4, 0)]), rel=1e-9
    )
