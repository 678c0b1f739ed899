"""Cells against looking at each hatchling, and calls that the parents can not give."""

from collections import Counter
from fractions import Fraction

from hypothesis import given, settings
from hypothesis import strategies as st

from genetics.model.species import Sex
from genetics.pool.cells import Call, CellCount, cell_counts, checked_call, n_hits
from genetics.pool.target import locus_factors, target_of
from tests.factories.pairings import pairing_of, pairings
from tests.factories.species import FIXTURES, species_from_file
from tests.oracles import offspring as oracle

BALL_PYTHON = species_from_file(FIXTURES / "catalogue" / "ball-python.json")
HALF = Fraction(1, 2)


def target(*texts):
    return target_of(
        BALL_PYTHON,
        [
            one
            for locus in BALL_PYTHON.loci
            for one in locus_factors(locus)
            if one.text in texts
        ],
    )  # fmt: skip


def reading(species, looks):
    return {locus.key: look for locus, look in zip(species.loci, looks, strict=True) if look}


@st.composite
def clutches(draw):
    """A pairing, a target and calls: looks it can give and others, sure and unsure."""
    pairing = draw(pairings())
    species = pairing.species
    table = oracle.mean_hatchlings(species, pairing.sire, pairing.dam)
    given_looks = sorted({oracle.looks_of(species, one) for one in table})
    any_look = st.tuples(*(st.sampled_from(sorted(locus.states)) for locus in species.loci))
    looks = st.sampled_from(given_looks) | any_look
    calls = [
        Call(
            readings=tuple(reading(species, one) for one in said),
            count=draw(st.integers(1, 3)),
            sex=draw(st.sampled_from([None, *Sex])),
        )
        for said in draw(
            st.lists(st.lists(looks, min_size=1, max_size=3, unique=True), min_size=1, max_size=5)
        )
    ]
    loci = draw(st.lists(st.sampled_from(species.loci), min_size=1, max_size=3, unique=True))
    factors = [draw(st.sampled_from(locus_factors(locus))) for locus in loci]
    while sum(one.n_factors for one in factors) > 3:
        factors.pop()
    return pairing, table, target_of(species, factors), calls


def can_be(species, table, said, sex, keys):
    """Whether some hatchling looks so at these loci, taken together."""
    return any(
        (sex is None or one[0] in {None, sex})
        and all(
            look == said.get(locus.key, "")
            for locus, look in zip(species.loci, oracle.looks_of(species, one), strict=True)
            if locus.key in keys
        )
        for one in table
    )


def impossible_loci(species, table, said, sex):
    """Loci of the linkage groups at which no hatchling looks so."""
    return {
        key
        for group in species.groups
        if not can_be(species, table, said, sex, group.loci)
        for key in group.loci
    }


def seen_otherwise(locus, factor):
    """Whether an animal can show a gene of the factor without looking like it."""
    genes = {allele for pair in factor.pairs for allele in pair} - {"+", "-"}
    return any(
        genes & set(pair)
        for look, pairs in locus.states.items()
        for pair in pairs
        if look not in {"", factor.look}
    )


def cell_of(species, asked, said):
    """Bit by bit: does it show the factor, or one of the two genes of a compound?

    Of a factor whose genes can be seen otherwise, the first bit says that anything shows at the
    locus, the second that it is the factor.
    """
    bits = []
    for factor in asked.factors:
        look = said.get(factor.locus, "")
        locus = species.by_key[factor.locus]
        if not factor.alleles and seen_otherwise(locus, factor):
            bits.append(look != "")
        for allele in factor.alleles or (None,):
            alone = set()
            if allele is not None:
                alone = {locus.look((allele, "+")), locus.look((allele, allele))} - {""}
            bits.append(look == factor.look or look in alone)
    return sum(1 << place for place, shown in enumerate(bits) if shown)


@settings(max_examples=200, deadline=None)
@given(drawn=clutches())
def test_checked_call__knows_what_no_hatchling_can_look_like(drawn):
    pairing, table, _target, calls = drawn
    species = pairing.species
    for call in calls:
        checked = checked_call(pairing, call)
        for said, groups in zip(call.readings, checked.impossible, strict=True):
            found = {key for group in groups for key in group.loci}
            assert found == impossible_loci(species, table, said, call.sex)
            whole = can_be(species, table, said, call.sex, species.by_key)
            assert (said in checked.possible_readings) is whole
        assert checked.contradicts_parents is (not checked.possible_readings)


@settings(max_examples=200, deadline=None)
@given(drawn=clutches())
def test_cell_counts__agree_with_looking_at_each_hatchling(drawn):
    pairing, table, asked, calls = drawn
    species = pairing.species
    in_target = {key for key in asked.loci for key in species.group_of[key].loci}
    sexed = any(species.group_of[key].is_sex_group for key in asked.loci)

    expected: Counter = Counter()
    for call in calls:
        faults = [impossible_loci(species, table, said, call.sex) for said in call.readings]
        usable = [s for s, fault in zip(call.readings, faults, strict=True) if not fault] or [
            s for s, fault in zip(call.readings, faults, strict=True) if not fault & in_target
        ]
        for _hatchling in range(call.count if usable else 0):
            cells = tuple(sorted({cell_of(species, asked, said) for said in usable}))
            expected[call.sex if sexed else None, cells] += 1

    found = cell_counts(species, asked, [checked_call(pairing, call) for call in calls])
    assert {(one.sex, one.cells): one.count for one in found} == expected
    assert len(found) == len(expected)

    hit = cell_of(species, asked, {one.locus: one.look for one in asked.factors})
    assert hit == asked.n_cells - 1
    certain, possible = n_hits(asked, found)
    assert certain == sum(n for (_sex, cells), n in expected.items() if cells == (hit,))
    assert possible == sum(n for (_sex, cells), n in expected.items() if hit in cells)
    assert 0 <= certain <= possible <= sum(expected.values())


def counted(pairing, asked, *calls):
    return cell_counts(BALL_PYTHON, asked, [checked_call(pairing, call) for call in calls])


PASTEL, SUPER_PASTEL, CLOWN, BANANA, PINSTRIPE = (
    {"bp-pastel": "Pastel"},
    {"bp-pastel": "Super Pastel"},
    {"bp-clown": "Clown"},
    {"bp-banana": "Banana"},
    {"bp-pinstripe": "Pinstripe"},
)


def test_cell_counts__leave_a_contradicted_call_out_where_it_contradicts_only():
    pairing = pairing_of(BALL_PYTHON, "Pastel", "")
    call = Call(readings=(PASTEL | CLOWN,), count=2)
    assert checked_call(pairing, call).contradicts_parents
    assert counted(pairing, target("Pastel"), call) == (CellCount(None, (3,), 2),)
    assert counted(pairing, target("Clown", "Pastel"), call) == ()


def test_cell_counts__leave_a_reading_aside_that_the_parents_can_not_give():
    pairing = pairing_of(BALL_PYTHON, "Pastel", "")
    call = Call(readings=({}, CLOWN, PASTEL), count=1)
    assert counted(pairing, target("Pastel"), call) == (CellCount(None, (0, 3), 1),)
    assert counted(pairing, target("Pastel"), Call(readings=(PASTEL, CLOWN), count=1)) == (
        CellCount(None, (3,), 1),
    )


def test_cell_counts__tell_another_form_of_the_gene_from_none_of_it():
    pairing = pairing_of(BALL_PYTHON, "Pastel, Pinstripe", "Pastel, Pinstripe")
    calls = [
        Call(readings=({},), count=1),
        Call(readings=(PASTEL,), count=2),
        Call(readings=(SUPER_PASTEL,), count=4),
        Call(readings=(PASTEL, SUPER_PASTEL), count=8),
    ]
    for asked, cells in {"Pastel": (0, 3, 1), "Super Pastel": (0, 1, 3)}.items():
        none, one, two = cells
        counts = {(none,): 1, (one,): 2, (two,): 4, tuple(sorted((one, two))): 8}
        assert counted(pairing, target(asked), *calls) == tuple(
            CellCount(None, cells, n) for cells, n in sorted(counts.items())
        )
    # Pinstripe is seen in one way only; beside Pastel its bit is the third.
    calls = [Call(readings=(PASTEL | PINSTRIPE,), count=1), Call(readings=(SUPER_PASTEL,), count=2)]
    assert counted(pairing, target("Pinstripe"), *calls) == (
        CellCount(None, (0,), 2),
        CellCount(None, (1,), 1),
    )
    both = target("Pastel", "Pinstripe")
    cells = {one.count: one.cells for one in counted(pairing, both, *calls)}
    assert cells == {
        1: (both.n_cells - 1,),
        2: (1 << both.shifts[both.loci.index("bp-pastel")],),
    }


def test_cell_counts__part_the_sexes_for_a_sex_linked_target_only():
    pairing = pairing_of(BALL_PYTHON, "Banana, Pastel", "")
    calls = [
        Call(readings=(BANANA | PASTEL,), count=1, sex=Sex.MALE),
        Call(readings=(BANANA | PASTEL,), count=2, sex=Sex.FEMALE),
        Call(readings=(BANANA,), count=4),
    ]
    assert counted(pairing, target("Banana"), *calls) == (
        CellCount(None, (3,), 4),
        CellCount(Sex.FEMALE, (3,), 2),
        CellCount(Sex.MALE, (3,), 1),
    )
    assert counted(pairing, target("Pastel"), *calls) == (
        CellCount(None, (0,), 4),
        CellCount(None, (3,), 3),
    )
    both = counted(pairing, target("Banana", "Pastel"), *calls)
    assert {one.sex for one in both} == {None, Sex.MALE, Sex.FEMALE}


def test_weight__is_equal_unless_the_keeper_says_otherwise():
    assert [Call(readings=({}, CLOWN), count=1).weight(n) for n in (0, 1)] == [1, 1]
    said = Call(readings=({}, CLOWN), count=1, weights=(HALF, Fraction(1, 4)))
    assert [said.weight(n) for n in (0, 1)] == [HALF, Fraction(1, 4)]
