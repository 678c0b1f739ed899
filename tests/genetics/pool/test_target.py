"""Targets against every combination of factors, and the rule of what can be told apart."""

from fractions import Fraction
from itertools import combinations

import pytest
from hypothesis import given, settings

from genetics.cross.offspring import Pairing
from genetics.errors import ContradictoryStatementError, NotVisibleError, TooManyFactorsError
from genetics.model.belief import Phase, belief_of
from genetics.model.linkage import Linkage
from genetics.model.locus import Allele, Locus, Mode
from genetics.model.species import Sex, SexSystem, Species
from genetics.pool.target import (
    cell_names,
    factor_for,
    informed_targets,
    is_informed,
    locus_factors,
    look_bits,
    possible_looks,
    target_of,
)
from tests.factories.pairings import pairing_of, pairings, stated
from tests.factories.species import FIXTURES, SPECIES_FILES, species_from_file
from tests.oracles import offspring as oracle

BALL_PYTHON, CORN_SNAKE = (
    species_from_file(FIXTURES / "catalogue" / f"{name}.json")
    for name in ("ball-python", "corn-snake")
)
GECKOS = species_from_file(FIXTURES / "demo" / "marsh-lantern-gecko.json")


def factor(species, text):
    """A factor by its text."""
    [found] = [one for locus in species.loci for one in locus_factors(locus) if one.text == text]
    return found


def target(species, *texts):
    return target_of(species, [factor(species, text) for text in texts])


def texts_of(targets):
    return {tuple(one.text for one in found.factors) for found in targets}


# --- factors ----------------------------------------------------------------------------------


@pytest.mark.parametrize("path", SPECIES_FILES, ids=lambda path: path.stem)
def test_locus_factors__hold_each_visible_state_once(path):
    for locus in species_from_file(path).loci:
        factors = locus_factors(locus)
        plain = [one for one in factors if not one.needs_identity]
        assert sorted(one.look for one in plain) == sorted(set(locus.states) - {""})
        for one in plain:
            assert one.pairs == locus.states[one.look]
        assert len({one.text for one in factors}) == len(factors)
        assert len({one.pairs for one in factors}) == len(factors)


@pytest.mark.parametrize("path", SPECIES_FILES, ids=lambda path: path.stem)
def test_locus_factors__need_identity_where_a_look_is_shared(path):
    for locus in species_from_file(path).loci:
        special = [one for one in locus_factors(locus) if one.needs_identity]
        for one in special:
            [pair] = one.pairs
            assert one.pairs < locus.states[one.look]
            assert "+" not in pair
            assert one.alleles == (() if pair[0] == pair[1] else pair)
        # Every two-copy form and compound that hides behind a shared look can be asked for, save
        # two copies of a gene whose own name is the look.
        shared = {
            pair
            for look, pairs in locus.states.items()
            for pair in pairs
            if len(pairs) > 1 and look and not set(pair) & {"+", "-"} and set(pair) != {look}
        }
        assert {pair for one in special for pair in one.pairs} == shared


def test_locus_factors__of_one_look_for_many():
    locus = BALL_PYTHON.by_key["bp-blue-eye-white"]
    leucistic = {
        one.text: (one.needs_identity, one.n_factors)
        for one in locus_factors(locus)
        if one.look == "Blue-Eyed Leucistic"
    }
    assert leucistic == {
        "Blue-Eyed Leucistic": (False, 1),
        "Super Lesser": (True, 1),
        "Super Butter": (True, 1),
        "Lesser Butter": (True, 2),
        "Lesser Mojave": (True, 2),
        "Butter Mojave": (True, 2),
        "Lesser Russo": (True, 2),
        "Mojave Russo": (True, 2),
        "Lesser Bamboo": (True, 2),
    }
    assert factor(BALL_PYTHON, "Purple Passion").alleles == ("Mojave", "Phantom")
    assert factor(BALL_PYTHON, "Super Mojave").n_factors == 1
    assert factor(BALL_PYTHON, "Spider").pairs == {("Spider", "+"), ("Spider", "Spider")}
    assert factor(CORN_SNAKE, "Motley").pairs == {("Motley", "Motley"), ("Motley", "Stripe")}
    assert factor(CORN_SNAKE, "Motley Stripe").needs_identity


def test_factor_for__is_the_factor_of_these_genotypes():
    for species in (BALL_PYTHON, CORN_SNAKE):
        for locus in species.loci:
            for one in locus_factors(locus):
                assert factor_for(locus, one.pairs) == one


@pytest.mark.parametrize("pairs", [{("Spider", "Spider")}, {("Spider", "+")}, {("+", "+")}])
def test_factor_for__refuses_what_does_not_show(pairs):
    with pytest.raises(NotVisibleError, match="can not be told by its look") as refused:
        factor_for(BALL_PYTHON.by_key["bp-spider"], frozenset(pairs))
    assert refused.value.details() == {"locus": "bp-spider"}


# --- targets ----------------------------------------------------------------------------------


def test_target_of__stands_in_the_order_of_the_species():
    found = target(BALL_PYTHON, "Pinstripe", "Clown", "Spider")
    assert found.loci == ("bp-spider", "bp-clown", "bp-pinstripe")
    assert found.key == "bp-spider: Spider | bp-clown: Clown | bp-pinstripe: Pinstripe"
    assert found.genes == ("Spider", "Clown", "Pinstripe")
    assert found.wanted["bp-clown"] == {("Clown", "Clown")}
    assert found == target(BALL_PYTHON, "Spider", "Pinstripe", "Clown")


def test_target_of__refuses_no_factor():
    with pytest.raises(NotVisibleError, match="at least one gene"):
        target_of(BALL_PYTHON, [])


def test_target_of__refuses_two_looks_of_one_locus():
    with pytest.raises(ContradictoryStatementError, match="looks of one locus") as refused:
        target(BALL_PYTHON, "Lesser", "Mojave")
    assert refused.value.details() == {"locus": "bp-blue-eye-white"}


@pytest.mark.parametrize(
    ("texts", "n_factors"),
    [
        (("Clown", "Pinstripe", "Enchi"), 3),
        (("Lesser Mojave", "Clown"), 3),
        (("Super Pastel", "Clown", "Enchi"), 3),
        (("Clown", "Pinstripe", "Enchi", "Piebald"), None),
        (("Lesser Mojave", "Clown", "Enchi"), None),
        (("Lesser Mojave", "8-Ball"), None),
    ],
)
def test_target_of__counts_a_compound_as_two(texts, n_factors):
    if n_factors:
        assert target(BALL_PYTHON, *texts).n_factors == n_factors
        return
    with pytest.raises(TooManyFactorsError, match="at most 3 genes") as refused:
        target(BALL_PYTHON, *texts)
    assert sorted(refused.value.details()["genes"]) == sorted(texts)
    assert refused.value.details()["most"] == 3


def test_look_bits__of_a_compound_tell_its_genes():
    compound = factor(BALL_PYTHON, "Purple Passion")
    bits = {
        look: look_bits(BALL_PYTHON, compound, look)
        for look in ("", "Mojave", "Super Mojave", "Phantom", "Purple Passion", "Lesser")
    }
    assert bits == {
        "": 0, "Mojave": 1, "Super Mojave": 1, "Phantom": 2, "Purple Passion": 3, "Lesser": 0,
    }  # fmt: skip
    platinum = factor(BALL_PYTHON, "Platinum")  # Daddy is recessive: one copy shows nothing
    assert [look_bits(BALL_PYTHON, platinum, look) for look in ("Lesser", "Daddy", "")] == [1, 2, 0]


def test_look_bits__tell_other_forms_where_there_are_any():
    pastel, twice = factor(BALL_PYTHON, "Pastel"), factor(BALL_PYTHON, "Super Pastel")
    for one, bits in ((pastel, [0, 3, 1]), (twice, [0, 1, 3])):
        assert one.has_other_forms
        looks = ("", "Pastel", "Super Pastel")
        assert [look_bits(BALL_PYTHON, one, look) for look in looks] == bits
    pinstripe = factor(BALL_PYTHON, "Pinstripe")
    assert not pinstripe.has_other_forms
    assert [look_bits(BALL_PYTHON, pinstripe, look) for look in ("", "Pinstripe")] == [0, 1]
    # Clown is recessive and still seen otherwise: as Cryptic's compound.
    clown = factor(BALL_PYTHON, "Clown")
    assert clown.has_other_forms
    assert [look_bits(BALL_PYTHON, clown, look) for look in ("Clown", "")] == [3, 0]


def test_target__numbers_its_cells_by_bits_of_its_factors():
    found = target(BALL_PYTHON, "Clown", "Piebald", "Lavender Albino")
    widths = {"Lavender Albino": 1, "Clown": 2, "Piebald": 1}
    assert [(one.text, one.n_bits) for one in found.factors] == list(widths.items())
    assert found.shifts == (0, 1, 3)
    assert found.n_cells == 16
    assert found.part_masks == (
        ("Lavender Albino", 0b0001),
        ("Clown", 0b0110),
        ("Piebald", 0b1000),
    )
    # A second bit without the first is nothing that can be seen.
    assert found.possible_cells == tuple(cell for cell in range(16) if cell & 0b0110 != 0b0100)
    compound = target(BALL_PYTHON, "Purple Passion", "Pinstripe")
    assert (compound.shifts, compound.n_cells) == ((0, 2), 8)
    assert compound.part_masks == (("Mojave", 1), ("Phantom", 2), ("Pinstripe", 4))
    assert compound.possible_cells == tuple(range(8))


@pytest.mark.parametrize("path", SPECIES_FILES, ids=lambda path: path.stem)
def test_possible_cells__are_those_of_all_looks(path):
    """Every look of every locus put into each factor gives the possible cells and no others."""
    species = species_from_file(path)
    for locus in species.loci:
        for one in locus_factors(locus):
            seen = {look_bits(species, one, look) for look in locus.states}
            possible = set(target_of(species, [one]).possible_cells)
            assert seen <= possible
            assert {0, target_of(species, [one]).n_cells - 1} <= seen
            if not one.alleles:
                assert seen == possible


def names_in(species, *looks, given=None):
    asked = target(species, *looks)
    seen = {key: set(species.by_key[key].states) for key in asked.loci} | (given or {})
    return cell_names(species, asked, seen)


def test_cell_names__name_what_shows():
    assert names_in(BALL_PYTHON, "Piebald", "Pinstripe") == (
        "a hatchling with neither Piebald nor Pinstripe",
        "Piebald", "Pinstripe", "Piebald + Pinstripe",
    )  # fmt: skip
    # More genes than these two at the locus: one of them may show beside another one.
    assert names_in(BALL_PYTHON, "Purple Passion") == (
        "a hatchling without Purple Passion", "Mojave", "Phantom", "Mojave + Phantom",
    )  # fmt: skip
    beside = target(BALL_PYTHON, "Super Pastel", "Piebald")
    names = dict(enumerate(names_in(BALL_PYTHON, "Super Pastel", "Piebald")))
    assert beside.loci == ("bp-piebald", "bp-pastel")
    assert {cell: names[cell] for cell in beside.possible_cells} == {
        0: "a hatchling with neither Piebald nor Super Pastel",
        1: "Piebald",
        2: "Pastel",
        3: "Piebald + Pastel",
        6: "Super Pastel",
        7: "Piebald + Super Pastel",
    }
    assert names_in(GECKOS, "Ashwater", "Quillback", "Dewline")[0] == (
        "a hatchling with none of Ashwater, Quillback and Dewline"
    )
    assert names_in(GECKOS, "Estuary")[0] == "a hatchling with neither Brackish nor Saltgrass"
    assert names_in(GECKOS, "Ashwater")[0] == "a hatchling without Ashwater"


@pytest.mark.parametrize(
    ("look", "given", "name"),
    [
        ("Floodmark", None, "Tidemark"),
        ("Tidemark", None, "Floodmark"),
        ("Bogcoat", None, "Peatcoat"),
        ("Peatcoat", None, "Bogcoat or Turfcoat"),
        ("Saltgrass", None, "another look of the series of Saltgrass"),
        ("Saltgrass", {"", "Saltgrass", "Super Saltgrass"}, "Super Saltgrass"),
        ("Super Brackish", {"", "Brackish", "Super Brackish"}, "Brackish"),
    ],
)
def test_cell_names__name_the_other_look_if_it_can_be_told(look, given, name):
    """Cell 1 of a look that its gene has not alone: which look it is, the cell does not say."""
    [locus] = [one.key for one in GECKOS.loci if look in one.states]
    names = names_in(GECKOS, look, given=given and {locus: given})
    assert names[1] == name


def test_possible_looks__are_those_of_the_parents():
    asked = target(GECKOS, "Super Brackish", "Ashwater")
    sire, dam = (stated(GECKOS, "Brackish", sex) for sex in (Sex.MALE, Sex.FEMALE))
    pairing = Pairing(GECKOS, belief_of(GECKOS, sire), belief_of(GECKOS, dam))
    assert possible_looks(pairing, asked) == {
        "ml-estuary": {"", "Brackish", "Super Brackish"},
        "ml-ashwater": {""},
    }


# --- which targets a pairing informs ----------------------------------------------------------


def every_target(species):
    """All combinations of up to three factors that may be a target, by trying each."""
    factors = [one for locus in species.loci for one in locus_factors(locus)]
    for size in (1, 2, 3):
        for chosen in combinations(factors, size):
            try:
                yield target_of(species, chosen)
            except (ContradictoryStatementError, TooManyFactorsError):
                continue


def informs(table, species, asked):
    """The rule of the design on the joint table: told apart, and neither never nor always."""
    for one in asked.factors:
        place = species.place_of[one.locus]
        alike = {
            pairs[place]
            for _sex, pairs in table
            if species.loci[place].look(pairs[place]) == one.look
        }
        if one.needs_identity and not alike <= one.pairs:
            return False
    hit = sum(c for h, c in table.items() if oracle.is_wanted(species, h, asked.wanted))
    return 0 < hit < 1


@settings(max_examples=120, deadline=None)
@given(pairing=pairings())
def test_informed_targets__are_those_of_all_combinations(pairing):
    species = pairing.species
    table = oracle.mean_hatchlings(species, pairing.sire, pairing.dam)
    candidates = list(every_target(species))
    expected = {one for one in candidates if informs(table, species, one)}
    found = informed_targets(pairing)
    assert set(found) == expected
    assert len(found) == len(expected)
    assert {one for one in candidates if is_informed(pairing, one)} == expected


def test_informed_targets__of_a_pairing_of_the_catalogue():
    pairing = pairing_of(BALL_PYTHON, "Pastel, Clown", "Pinstripe, Clown")
    assert texts_of(informed_targets(pairing)) == {
        ("Clown",), ("Pastel",), ("Pinstripe",),
        ("Clown", "Pastel"), ("Clown", "Pinstripe"), ("Pastel", "Pinstripe"),
        ("Clown", "Pastel", "Pinstripe"),
    }  # fmt: skip


def test_informed_targets__keep_a_certain_factor_beside_others_only():
    pairing = pairing_of(BALL_PYTHON, "2 Clown, Pinstripe", "2 Clown")
    assert texts_of(informed_targets(pairing)) == {("Pinstripe",), ("Clown", "Pinstripe")}
    assert not is_informed(pairing, target(BALL_PYTHON, "Clown"))
    assert is_informed(pairing, target(BALL_PYTHON, "Clown", "Pinstripe"))


def test_informed_targets__of_two_sure_parents_are_none():
    assert informed_targets(pairing_of(BALL_PYTHON, "2 Clown", "2 Clown")) == ()
    assert informed_targets(pairing_of(BALL_PYTHON, "", "2 Clown")) == ()
    assert informed_targets(pairing_of(BALL_PYTHON, "", "")) == ()


def test_informed_targets__hold_a_possible_het():
    pairing = pairing_of(BALL_PYTHON, "Clown", "Clown? 1/2")
    assert texts_of(informed_targets(pairing)) == {("Clown",)}


def test_informed_targets__hold_a_compound_only_where_nothing_else_looks_like_it():
    sure = informed_targets(pairing_of(BALL_PYTHON, "Lesser", "Mojave"))
    assert texts_of(sure) == {
        ("Lesser",), ("Mojave",), ("Blue-Eyed Leucistic",), ("Lesser Mojave",),
    }  # fmt: skip
    mixed = informed_targets(pairing_of(BALL_PYTHON, "Lesser", "Lesser, Mojave"))
    # A leucistic one is Lesser x2 or Lesser Mojave; which, nobody can see.
    assert texts_of(mixed) == {("Lesser",), ("Mojave",), ("Blue-Eyed Leucistic",)}
    motley = informed_targets(pairing_of(CORN_SNAKE, "Motley, Stripe", "2 Stripe"))
    assert texts_of(motley) == {("Motley",), ("Stripe",), ("Motley Stripe",)}
    both = informed_targets(pairing_of(CORN_SNAKE, "Motley, Stripe", "Motley, Stripe"))
    assert texts_of(both) == {("Motley",), ("Stripe",)}


def linked(fraction):
    return Species(
        "fen", "fen gecko", SexSystem.NONE,
        (
            Locus("ash", (Allele("Ash", Mode.RECESSIVE),)),
            Locus("bay", (Allele("Bay", Mode.RECESSIVE),)),
        ),
        (Linkage(("ash", "bay"), Fraction(fraction)),),
    )  # fmt: skip


@pytest.mark.parametrize(
    ("fraction", "coupling", "informed"),
    [("0", False, False), ("0", True, True), ("1/100", False, True), ("0", None, True)],
)
def test_informed_targets__hold_a_linked_pair_unless_it_can_not_be(fraction, coupling, informed):
    species = linked(fraction)
    phases = () if coupling is None else (Phase(("Ash", "Bay"), coupling),)
    sire, dam = (belief_of(species, stated(species, "Ash, Bay", sex, phases=phases)) for sex in Sex)
    pairing = Pairing(species, sire, dam)
    assert (("Ash", "Bay") in texts_of(informed_targets(pairing))) is informed
    assert is_informed(pairing, target(species, "Ash", "Bay")) is informed
    assert {("Ash",), ("Bay",)} <= texts_of(informed_targets(pairing))
