"""Looks of a pairing and what hides behind them: textbooks, the joint table, the trade's hets."""

import json
import math
from collections import Counter
from fractions import Fraction
from itertools import islice

import pytest
from hypothesis import given, settings

from genetics.cross.forecast import HiddenKind, group_looks, likeliest_looks, n_looks
from genetics.cross.offspring import Pairing, chance_law, mean_chance
from genetics.evidence.waiting import at_least_one, hatchlings_for
from genetics.model.belief import ParentStatement, Phase, belief_of
from genetics.model.linkage import Linkage
from genetics.model.locus import Allele, Locus, Mode
from genetics.model.species import Sex, SexSystem, Species
from genetics.model.statement import StatedLocus, stated_genes
from tests.factories.pairings import pairing_of, pairings, stated
from tests.factories.species import FIXTURES, species_from_file
from tests.oracles import offspring as oracle

ONE, HALF, THIRD, QUARTER = (Fraction(1, n) for n in (1, 2, 3, 4))


def reference(name):
    return json.loads((FIXTURES / "reference" / name).read_text("utf-8"))


def published(name):
    return species_from_file(FIXTURES / "published" / "species" / f"{name}.json")


def catalogue(name):
    return species_from_file(FIXTURES / "catalogue" / f"{name}.json")


ABO, RABBIT, LINKED = (
    reference(name) for name in ("abo_children.json", "rabbit_c_series.json", "linked_f2.json")
)
HUMAN, RABBITS, BALL_PYTHON, CORN_SNAKE = (
    published("human-blood-group"),
    published("rabbit"),
    catalogue("ball-python"),
    catalogue("corn-snake"),
)


def pairing_with_alleles(species, sire, dam):
    """Parents from two alleles each, ``+`` for the wild type."""

    def statement(alleles, sex):
        named = tuple(allele for allele in alleles if allele != "+")
        loci = {species.locus_of[named[0]].key: StatedLocus(named)} if named else {}
        return ParentStatement(genes=stated_genes(species, loci), sex=sex)

    return Pairing(
        species,
        belief_of(species, statement(sire, Sex.MALE)),
        belief_of(species, statement(dam, Sex.FEMALE)),
    )


def look_chances(pairing):
    """Wording of each look -> chance; ``normal`` where nothing shows."""
    found = {}
    for look in likeliest_looks(pairing):
        words = " ".join(wording for _key, wording in look.states) or "normal"
        found[words] = found.get(words, 0) + look.chance
    return found


def hidden_texts(pairing, words):
    """What hides behind one look, as the trade writes it."""
    [found] = [
        look
        for look in likeliest_looks(pairing)
        if (" ".join(wording for _key, wording in look.states) or "normal") == words
    ]
    return [hidden.text for hidden in found.hidden]


# --- textbook tables --------------------------------------------------------------------------


@pytest.mark.parametrize("swapped", [False, True])
@pytest.mark.parametrize("cross", ABO["genotype_crosses"], ids=lambda c: "x".join(c["parents"]))
def test_group_looks__of_abo_are_the_textbook_children(cross, swapped):
    parents = cross["parents"][::-1] if swapped else cross["parents"]
    alleles = [ABO["genotypes"][parent]["alleles"] for parent in parents]
    children = {ABO["calls"][g]: Fraction(chance) for g, chance in cross["children"].items()}
    assert look_chances(pairing_with_alleles(HUMAN, *alleles)) == children


@pytest.mark.parametrize("row", ABO["group_pairs"], ids=lambda row: "x".join(row["parents"]))
def test_group_looks__of_abo_groups_are_possible_just_where_the_table_says(row):
    alleles = [
        [g["alleles"] for g in ABO["genotypes"].values() if g["group"] == group]
        for group in row["parents"]
    ]
    seen = {
        look
        for sire in alleles[0]
        for dam in alleles[1]
        for look in look_chances(pairing_with_alleles(HUMAN, sire, dam))
    }
    assert seen == {ABO["calls"][group] for group in row["possible"]}
    assert not seen & {ABO["calls"][group] for group in row["impossible"]}


@pytest.mark.parametrize("cross", RABBIT["crosses"], ids=lambda c: " x ".join(c["parents"]))
def test_group_looks__of_the_rabbit_c_series_are_the_textbook_young(cross):
    alleles = [RABBIT["genotypes"][parent]["alleles"] for parent in cross["parents"]]
    young = {RABBIT["calls"][coat]: Fraction(chance) for coat, chance in cross["young"].items()}
    assert look_chances(pairing_with_alleles(RABBITS, *alleles)) == young


def f2(r, phase, plants="plant"):
    """Double recessive chances of a selfed or intercrossed double het: AB, Ab, aB, ab."""
    species = Species(
        plants,
        plants,
        SexSystem.NONE,
        (
            Locus("a", (Allele("Ash", Mode.RECESSIVE),)),
            Locus("b", (Allele("Bay", Mode.RECESSIVE),)),
        ),
        (Linkage(("a", "b"), r),),
    )
    said = {"phases": (Phase(("Ash", "Bay"), coupling=phase == "coupling"),)}
    sire, dam = (stated(species, "Ash, Bay", sex, **said) for sex in Sex)
    pairing = Pairing(species, belief_of(species, sire), belief_of(species, dam))
    chances = look_chances(pairing)
    return [chances.get(look, Fraction(0)) for look in ("normal", "Bay", "Ash", "Ash Bay")]


@pytest.mark.parametrize("row", LINKED["gametic_series"], ids=lambda row: f"n={row['n']}")
def test_group_looks__of_a_coupling_f2_are_punnetts_series(row):
    assert sum(row["classes"]) == row["total"]
    chances = f2(Fraction(1, row["n"]), "coupling")
    assert [chance * row["total"] for chance in chances] == row["classes"]


def test_group_looks__of_the_sweet_pea_are_expected_as_7_1_1_7():
    row = LINKED["sweet_pea_7_1_1_7"]
    expected = [chance * row["n_plants"] for chance in f2(Fraction(1, row["n"]), "coupling")]
    assert [float(one) for one in expected] == pytest.approx(row["expected"], rel=1e-9)


@pytest.mark.parametrize("row", LINKED["estimates"], ids=lambda row: row["family"])
def test_group_looks__of_published_families_are_likeliest_at_the_estimated_fraction(row):
    def log_likelihood(r):
        chances = f2(Fraction(r), row["phase"])
        return sum(n * math.log(c) for n, c in zip(row["counts"], chances, strict=True))

    best = log_likelihood(row["r"])
    assert best > log_likelihood(row["r"] - 1e-4)
    assert best > log_likelihood(row["r"] + 1e-4)


def test_group_looks__of_complete_repulsion_are_1_2_1_without_double_recessives():
    # Punnett 1911, appendix to chapter IX: the old term 'repulsion'.
    assert f2(Fraction(0), "repulsion") == [HALF, QUARTER, QUARTER, 0]


def test_group_looks__of_a_compound_and_a_wild_one_hold_no_wild_type():
    """Test of allelism: 0.75**n is the chance of no wild young if the genes were two loci."""
    two_alleles = pairing_of(HUMAN, "A, B", "")
    assert look_chances(two_alleles) == {"A": HALF, "B": HALF}
    assert look_chances(pairing_of(HUMAN, "A, B", "A, B")) == {
        "A": QUARTER, "B": QUARTER, "AB": HALF,
    }  # fmt: skip

    two_loci = pairing_of(BALL_PYTHON, "Pinstripe, Enchi", "")
    wild = {
        "bp-pinstripe": frozenset({("+", "+")}),
        "bp-enchi": frozenset({("+", "+")}),
    }
    law = chance_law(two_loci, wild)
    none_among = {n: 1 - at_least_one(law, n) for n in (5, 8, 10, 11, 16, 17)}
    # Computed by enumeration, 0.75**n.
    printed = {
        5: 0.2373046875, 8: 0.100112915039, 10: 0.0563135147095, 11: 0.0422351360321,
        16: 0.0100225957576, 17: 0.00751694681821,
    }  # fmt: skip
    assert {n: float(chance) for n, chance in none_among.items()} == pytest.approx(printed)
    assert none_among[10] > Fraction(1, 20) > none_among[11]
    assert none_among[16] > Fraction(1, 100) > none_among[17]
    assert (hatchlings_for(law, Fraction(19, 20)), hatchlings_for(law, Fraction(99, 100))) == (
        11, 17,
    )  # fmt: skip


# --- the joint table --------------------------------------------------------------------------


def joint_looks(pairing):
    """Looks and sex -> genotypes with chances, from the joint table drawn gamete by gamete."""
    species = pairing.species
    found = {}
    for hatchling, chance in oracle.mean_hatchlings(species, pairing.sire, pairing.dam).items():
        looks = oracle.looks_of(species, hatchling)
        genotypes = found.setdefault((looks, hatchling[0]), Counter())
        genotypes[hatchling[1]] += chance
    return found


def full_looks(species, look):
    shown = dict(look.states)
    return tuple(shown.get(locus.key, "") for locus in species.loci)


@settings(max_examples=150, deadline=None)
@given(pairing=pairings())
def test_likeliest_looks__are_all_looks_of_the_joint_table_by_falling_chance(pairing):
    found = list(likeliest_looks(pairing))
    species = pairing.species
    joint = joint_looks(pairing)
    by_sex: dict = {sex: {} for sex in (None, *Sex)}
    for (looks, sex), genotypes in joint.items():
        by_sex[sex][looks] = genotypes
    told = any(one.sex for one in found)
    if told:
        assert by_sex[Sex.MALE] != by_sex[Sex.FEMALE]
    else:
        male, female = (
            {looks: sum(genotypes.values()) for looks, genotypes in by_sex[sex].items()}
            for sex in Sex
        )
        assert male == female

    expected: Counter = Counter()
    for (looks, sex), genotypes in joint.items():
        expected[looks, sex if told else None] += sum(genotypes.values())
    assert {(full_looks(species, one), one.sex): one.chance for one in found} == expected
    assert len(found) == len(expected) == n_looks(pairing)
    chances = [one.chance for one in found]
    assert chances == sorted(chances, reverse=True)
    assert sum(chances) == 1


@settings(max_examples=150, deadline=None)
@given(pairing=pairings())
def test_likeliest_looks__hide_what_the_joint_table_says(pairing):
    species = pairing.species
    joint = joint_looks(pairing)
    for look in likeliest_looks(pairing):
        genotypes: Counter = Counter()
        for (looks, sex), here in joint.items():
            if looks == full_looks(species, look) and look.sex in {None, sex}:
                genotypes.update(here)
        total = sum(genotypes.values())
        for place, locus in enumerate(species.loci):
            shares: Counter = Counter()
            for pairs, chance in genotypes.items():
                shares[tuple(one for one in pairs[place] if one not in "+-")] += chance / total
            hidden = [one for one in look.hidden if one.locus == locus.key]
            _hidden_is_right(locus, dict(look.states).get(locus.key, ""), shares, hidden)


def _hidden_is_right(locus, shown, shares, hidden):
    """Each chance is the share of the genotypes meant; genotypes that differ are all told."""
    told = []
    for one in hidden:
        if one.kind is HiddenKind.HET:
            meant = [g for g in shares if one.genes[0] in g and shown != one.genes[0]]
        elif one.kind is HiddenKind.TWO_COPIES:
            meant = [one.genes * 2]
        else:
            meant = [one.genes]
        assert one.chance == sum(shares[genotype] for genotype in meant) > 0
        told += meant
    assert len({(one.kind, one.genes) for one in hidden}) == len(hidden)
    untold = set(shares) - set(told)
    plain = [set(genotype) <= {shown} for genotype in untold]
    has_one_genotype = len(locus.states[shown]) == 1
    assert all(plain) or has_one_genotype
    # Two genotypes of one look that differ in more than the sex are never passed over.
    assert len(untold) <= 1 or _differ_by_sex_only(locus, untold)


def _differ_by_sex_only(locus, genotypes):
    linkage = locus.sex_linkage
    return linkage is not None and not linkage.heterogametic_copy and len(genotypes) == 2


def test_likeliest_looks__start_without_the_joint_table():
    loci = tuple(Locus(f"l{n}", (Allele(f"Gene {n}", Mode.RECESSIVE),)) for n in range(40))
    species = Species("wide", "wide gecko", SexSystem.NONE, loci)
    hets = ", ".join(f"Gene {n}" for n in range(40))
    pairing = pairing_of(species, hets, hets)
    assert n_looks(pairing) == 2**40
    first = list(islice(likeliest_looks(pairing), 42))
    assert first[0].chance == Fraction(3, 4) ** 40
    assert first[0].states == ()
    assert {one.chance for one in first[1:41]} == {Fraction(3, 4) ** 39 / 4}
    assert {one.states for one in first[1:41]} == {((f"l{n}", f"Gene {n}"),) for n in range(40)}
    assert first[41].chance == Fraction(3, 4) ** 38 / 16


def test_likeliest_looks__of_two_normals_are_one():
    [only] = likeliest_looks(pairing_of(BALL_PYTHON, "", ""))
    assert (only.states, only.sex, only.chance, only.hidden) == ((), None, 1, ())


# --- the trade's hets (common practice, no source) --------------------------------------------


@pytest.mark.parametrize(
    ("sire", "dam", "look", "texts"),
    [
        ("Clown", "Clown", "normal", ["66% het Clown"]),
        ("Clown", "", "normal", ["50% het Clown"]),
        ("2 Clown", "", "normal", ["100% het Clown"]),
        ("2 Clown", "Clown", "normal", ["100% het Clown"]),
        ("Clown? 2/3", "", "normal", ["33% het Clown"]),
        ("Clown? 1/100", "", "normal", ["under 1% het Clown"]),
        ("Pinstripe", "Pinstripe", "Pinstripe", ["33% super Pinstripe"]),
        ("Pinstripe", "", "Pinstripe", []),
        ("Pastel", "Pastel", "Pastel", []),
        ("Pastel", "Pastel", "Super Pastel", []),
        # One look, several genotypes.
        (
            "Lesser, Mojave", "Lesser, Mojave", "Blue-Eyed Leucistic",
            ["33% super Lesser", "66% Lesser Mojave"],
        ),
        ("Lesser", "Mojave", "Blue-Eyed Leucistic", ["100% Lesser Mojave"]),
        ("Lesser, Daddy", "", "Lesser", []),
        ("Lesser, Daddy", "", "normal", ["100% het Daddy"]),
        ("Lesser, Daddy", "Daddy", "Platinum", []),
    ],
)  # fmt: skip
def test_hidden__of_the_ball_python(sire, dam, look, texts):
    assert hidden_texts(pairing_of(BALL_PYTHON, sire, dam), look) == texts


@pytest.mark.parametrize(
    ("sire", "dam", "look", "texts"),
    [
        ("2 Motley", "2 Stripe", "Motley", ["100% het Stripe"]),
        ("Motley, Stripe", "2 Motley", "Motley", ["50% het Stripe"]),
        ("Motley, Stripe", "Motley, Stripe", "Motley", ["66% het Stripe"]),
        ("Motley, Stripe", "Motley, Stripe", "Stripe", []),
        ("Motley", "Stripe", "normal", ["33% het Motley", "33% het Stripe"]),
        ("Motley", "Stripe", "Motley", ["100% het Stripe"]),
        ("Motley, Stripe", "", "normal", ["50% het Motley", "50% het Stripe"]),
    ],
)
def test_hidden__of_motley_and_stripe(sire, dam, look, texts):
    assert hidden_texts(pairing_of(CORN_SNAKE, sire, dam), look) == texts


def test_hidden__of_two_loci_is_told_for_each():
    pairing = pairing_of(BALL_PYTHON, "Clown, Pinstripe", "Clown, Pinstripe")
    assert sorted(hidden_texts(pairing, "Pinstripe")) == ["33% super Pinstripe", "66% het Clown"]
    assert hidden_texts(pairing, "Clown Pinstripe") == ["33% super Pinstripe"]


# --- the sex-linked gene of the ball python ---------------------------------------------------

BANANA = {"bp-banana": frozenset({("Banana", "+")})}


@pytest.mark.parametrize(
    ("letter", "sons", "daughters"),
    [("Y", Fraction(47, 50), Fraction(3, 50)), ("X", Fraction(3, 50), Fraction(47, 50))],
)
def test_chance_law__of_a_male_or_female_maker(letter, sons, daughters):
    # r = 3/50, as in the catalogue.
    sire = stated(BALL_PYTHON, "Banana", Sex.MALE, on_chromosome=(("Banana", letter),))
    dam = stated(BALL_PYTHON, "", Sex.FEMALE)
    pairing = Pairing(BALL_PYTHON, belief_of(BALL_PYTHON, sire), belief_of(BALL_PYTHON, dam))
    assert chance_law(pairing, BANANA, sex=Sex.MALE) == {sons: ONE}
    assert chance_law(pairing, BANANA, sex=Sex.FEMALE) == {daughters: ONE}
    assert chance_law(pairing, BANANA) == {HALF: ONE}
    looks = {(one.sex, one.states): one.chance for one in likeliest_looks(pairing)}
    shown = (("bp-banana", "Banana"),)
    assert looks == {
        (Sex.MALE, shown): sons / 2,
        (Sex.FEMALE, shown): daughters / 2,
        (Sex.MALE, ()): daughters / 2,
        (Sex.FEMALE, ()): sons / 2,
    }


@pytest.mark.parametrize(("origin", "letter"), [("sire", "Y"), ("dam", "X")])
def test_chance_law__of_a_son_follows_the_parent_he_has_it_from(origin, letter):
    by_origin = stated(BALL_PYTHON, "Banana", Sex.MALE, inherited_from=(("Banana", origin),))
    by_letter = stated(BALL_PYTHON, "Banana", Sex.MALE, on_chromosome=(("Banana", letter),))
    assert belief_of(BALL_PYTHON, by_origin) == belief_of(BALL_PYTHON, by_letter)


def test_chance_law__of_an_unknown_maker_is_a_mixture_of_both():
    pairing = pairing_of(BALL_PYTHON, "Banana", "")
    sons = chance_law(pairing, BANANA, sex=Sex.MALE)
    assert sons == {Fraction(47, 50): HALF, Fraction(3, 50): HALF}
    assert chance_law(pairing, BANANA) == {HALF: ONE}
    [group] = pairing.groups_in_play()
    # Over both, sons and daughters are alike, so the sexes are not told apart.
    assert [one.sex for one in group_looks(pairing, group)] == [None, None]


def test_hatchlings_for__a_possible_het_parent_never_reaches_95_percent():
    pairing = pairing_of(BALL_PYTHON, "Clown", "Clown? 2/3")
    law = chance_law(pairing, {"bp-clown": frozenset({("Clown", "Clown")})})
    assert law == {QUARTER: Fraction(2, 3), Fraction(0): THIRD}
    assert mean_chance(law) == Fraction(1, 6)
    assert hatchlings_for(law, Fraction(19, 20)) is None
    assert hatchlings_for(law, Fraction(1, 2)) == 5  # 2/3 (1 - 0.75**n) >= 1/2: 0.75**n <= 1/4
    for n in (0, 1, 6, 40):
        assert at_least_one(law, n) == Fraction(2, 3) * (1 - Fraction(3, 4) ** n)
        assert n < 2 or at_least_one(law, n) < 1 - (1 - mean_chance(law)) ** n


def test_hatchlings_for__agrees_with_counting_in_the_joint_table():
    pairing = pairing_of(BALL_PYTHON, "Pastel, Clown", "Pinstripe, Clown")
    wanted = {
        "bp-pastel": frozenset({("Pastel", "+")}),
        "bp-pinstripe": frozenset({("Pinstripe", "+")}),
        "bp-clown": frozenset({("Clown", "Clown")}),
    }
    law = chance_law(pairing, wanted)
    assert law == {Fraction(1, 16): ONE}
    # 47 hatchlings of 1 in 16 for 95 %: ln 0.05 / ln(15/16) = 46.4.
    assert hatchlings_for(law, Fraction(19, 20)) == math.ceil(math.log(0.05) / math.log(15 / 16))
