"""Parents after a clutch against Bayes by enumeration: every state, hatchling by hatchling."""

from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from genetics.cross.offspring import Pairing
from genetics.evidence import parents as module
from genetics.evidence.parents import UNPROVEN_CHANCE, parents_after
from genetics.model.belief import Phase, belief_of
from genetics.model.linkage import Linkage
from genetics.model.locus import Allele, Locus, Mode, SexLinkage
from genetics.model.species import Sex, SexSystem, Species
from genetics.pool.cells import Call, checked_call
from tests.factories.pairings import pairing_of, parents, stated
from tests.oracles.family import Seen, chance_of_carrying, look_chances, parents_given, seen_chance
from tests.oracles.offspring import looks_of, mean_hatchlings

ONE, HALF, THIRD, TWO_THIRDS = Fraction(1), Fraction(1, 2), Fraction(1, 3), Fraction(2, 3)
RECESSIVE, VISIBLE = Mode.RECESSIVE, Mode.INCOMPLETE_DOMINANT

FEN = Species(
    "fen", "fen gecko", SexSystem.ZW,
    (
        Locus("ash", (Allele("Ash", RECESSIVE),)),
        Locus("bay", (Allele("Bay", RECESSIVE),)),
        Locus("clay", (Allele("Clay", VISIBLE),)),
        Locus("dune", (Allele("Dune", VISIBLE),)),
        Locus("elm", (Allele("Elm", VISIBLE),), sex_linkage=SexLinkage(Fraction(1, 10))),
    ),
    (Linkage(("clay", "dune"), Fraction(0)),),
)  # fmt: skip
ASH, BAY, CLAY, DUNE = {"ash": "Ash"}, {"bay": "Bay"}, {"clay": "Clay"}, {"dune": "Dune"}


def checked(pairing, *calls):
    """Calls as (reading or readings, count) or with sex and weights."""
    found = []
    for said, count, *rest in calls:
        readings = said if isinstance(said, tuple) else (said,)
        sex, weights = (*rest, None, ())[:2] if rest else (None, ())
        found.append(checked_call(pairing, Call(readings, count, sex, weights)))
    return found


def one_doubt(pairing, parent, gene, *calls):
    [found] = parents_after(pairing, [(parent, gene)], checked(pairing, *calls)).doubts
    return found


# --- against enumeration ----------------------------------------------------------------------


@st.composite
def reported(draw):
    """Parents with their doubts, and a clutch of sure and unsure calls that it can have been."""
    species, sire, dam = draw(parents(most_loci=3))
    pairing = Pairing(species, belief_of(species, sire), belief_of(species, dam))
    doubtful = [
        (parent, gene)
        for parent, said in (("sire", sire), ("dam", dam))
        for _key, locus in said.genes.loci
        for gene, _chance in locus.possible
    ]
    table = mean_hatchlings(species, pairing.sire, pairing.dam)
    looks = sorted({looks_of(species, one) for one in table})
    strange = st.tuples(*(st.sampled_from(sorted(locus.states)) for locus in species.loci))
    look = st.sampled_from([*looks] * 4) | strange
    calls = []
    for said in draw(
        st.lists(st.lists(look, min_size=1, max_size=2, unique=True), min_size=1, max_size=3)
    ):
        weights = draw(
            st.just(())
            | st.tuples(*(st.sampled_from([HALF, THIRD, Fraction(3)]) for _look in said))
        )
        readings = tuple(
            {locus.key: w for locus, w in zip(species.loci, one, strict=True) if w} for one in said
        )
        sex = draw(st.sampled_from([None, None, *Sex]))
        calls.append(Call(readings, draw(st.integers(1, 2)), sex, weights))
    return pairing, doubtful, [checked_call(pairing, call) for call in calls]


def seen_hatchlings(calls):
    """Hatchling by hatchling, readings that the parents can not give left aside."""
    found = []
    for one in calls:
        usable = tuple(
            (said, one.call.weight(place))
            for place, said in enumerate(one.call.readings)
            if not one.impossible[place]
        )
        found += [Seen(usable, one.call.sex)] * (one.call.count if usable else 0)
    return found


@settings(max_examples=150, deadline=None)
@given(drawn=reported())
def test_parents_after__agree_with_bayes_by_enumeration(drawn):
    pairing, doubtful, calls = drawn
    species = pairing.species
    clutch = seen_hatchlings(calls)
    prior = parents_given(species, pairing.sire, pairing.dam, [])
    weighed = parents_given(species, pairing.sire, pairing.dam, clutch)
    found = parents_after(pairing, doubtful, calls)

    assert found.uncertain_calls_used
    assert found.impossible is (not sum(weight for _parents, weight in weighed))
    for (parent, gene), doubt in zip(doubtful, found.doubts, strict=True):
        side = 0 if parent == "sire" else 1
        asked = {"side": side, "gene": gene}
        before = chance_of_carrying(prior, **asked)
        assert (doubt.parent, doubt.gene, doubt.before) == (parent, gene, before)
        if found.impossible:
            assert doubt.after == before
        else:
            assert doubt.after == chance_of_carrying(weighed, **asked)
        assert doubt.verdict == {0: "excluded", 1: "proven"}.get(doubt.after, "open")


@settings(max_examples=100, deadline=None)
@given(drawn=reported())
def test_parents_after__weigh_readings_by_pairing_and_keeper(drawn):
    pairing, _doubtful, calls = drawn
    species = pairing.species
    certain = [one for one in calls if len(one.possible_readings) == 1]
    weighed = parents_given(species, pairing.sire, pairing.dam, seen_hatchlings(certain))
    tables = [(look_chances(species, parents_), weight) for parents_, weight in weighed]
    found = parents_after(pairing, [], calls)
    for one, odds in zip(calls, found.reading_odds, strict=True):
        if len(one.call.readings) == 1:
            assert odds is None
            continue
        weights = [
            sum(
                weight
                * one.call.weight(place)
                * seen_chance(species, table, Seen(((said, ONE),), one.call.sex))
                for table, weight in tables
            )
            for place, said in enumerate(one.call.readings)
        ]
        total = sum(weights)
        assert odds.chances == tuple(w / total if total else 0 for w in weights)


# --- by hand ----------------------------------------------------------------------------------


@pytest.mark.parametrize("n", [0, 1, 2, 5, 10, 60])
def test_parents_after__n_normals_of_a_visual_and_a_66_percent_het(n):
    # Bayes: 2/3 (1/2)**n over 1/3 + 2/3 (1/2)**n.
    pairing = pairing_of(FEN, "2 Ash", "Ash? 2/3")
    doubt = one_doubt(pairing, "dam", "Ash", ({}, n))
    still = TWO_THIRDS * HALF**n
    assert doubt.before == TWO_THIRDS
    assert doubt.after == still / (THIRD + still)
    assert doubt.verdict == "open"


def test_parents_after__a_hatchling_that_needs_the_gene_proves_it():
    pairing = pairing_of(FEN, "2 Ash", "Ash? 2/3")
    assert one_doubt(pairing, "dam", "Ash", ({}, 20), (ASH, 1)).verdict == "proven"
    both = pairing_of(FEN, "Ash? 1/2", "Ash? 2/3")
    doubts = parents_after(both, [("sire", "Ash"), ("dam", "Ash")], checked(both, (ASH, 1))).doubts
    assert [doubt.after for doubt in doubts] == [1, 1]


def test_parents_after__a_doubtful_visual_is_excluded_by_a_hatchling_without_it():
    """Two copies, not proven: a normal hatchling shows that they are not there."""
    sire = belief_of(
        FEN, stated(FEN, "2 Ash", Sex.MALE, unproven=("Ash",)), unproven_chance=UNPROVEN_CHANCE
    )
    pairing = Pairing(FEN, sire, belief_of(FEN, stated(FEN, "2 Ash", Sex.FEMALE)))
    doubt = one_doubt(pairing, "sire", "Ash", ({}, 1))
    assert (doubt.before, doubt.after, doubt.verdict) == (Fraction(9, 10), 0, "excluded")
    assert one_doubt(pairing, "sire", "Ash", (ASH, 1)).verdict == "proven"


def test_parents_after__calls_that_fit_no_parents_together_change_nothing():
    sire = belief_of(
        FEN, stated(FEN, "2 Ash", Sex.MALE, unproven=("Ash",)), unproven_chance=UNPROVEN_CHANCE
    )
    pairing = Pairing(FEN, sire, belief_of(FEN, stated(FEN, "2 Ash", Sex.FEMALE)))
    calls = checked(pairing, ({}, 1), (ASH, 1))
    assert not any(call.contradicts_parents for call in calls)
    found = parents_after(pairing, [("sire", "Ash")], calls)
    assert found.impossible
    assert found.doubts[0].after == found.doubts[0].before
    assert found.doubts[0].verdict == "open"


def test_parents_after__an_uncertain_call_can_be_what_fits_no_parents():
    # Clay and Dune do not recombine: in coupling there is neither alone, in repulsion never both.
    pairing = pairing_of(FEN, "Clay, Dune", "Ash? 1/2")
    both = CLAY | DUNE
    calls = checked(pairing, (both, 1), ((CLAY, DUNE), 1))
    assert not any(call.contradicts_parents for call in calls)
    found = parents_after(pairing, [("dam", "Ash")], calls)
    assert (found.impossible, found.doubts[0].after) == (True, HALF)
    assert found.reading_odds == (None, found.reading_odds[1])
    assert found.reading_odds[1].chances == (0, 0)


def test_parents_after__leave_out_what_contradicts_the_parents():
    pairing = pairing_of(FEN, "2 Ash", "Ash? 2/3")
    doubt = one_doubt(pairing, "dam", "Ash", ({}, 1), (BAY, 5), (ASH | BAY, 5))
    assert doubt.after == one_doubt(pairing, "dam", "Ash", ({}, 1)).after


def test_parents_after__use_the_keepers_odds():
    pairing = pairing_of(FEN, "2 Ash", "Ash? 2/3")
    for odds in (Fraction(1), Fraction(9), Fraction(1, 9)):
        call = ((ASH, {}), 1, None, (odds, ONE))
        doubt = one_doubt(pairing, "dam", "Ash", call)
        carrying, not_carrying = TWO_THIRDS * (odds * HALF + HALF), THIRD
        assert doubt.after == carrying / (carrying + not_carrying)
        [chances] = [
            one.chances for one in parents_after(pairing, [], checked(pairing, call)).reading_odds
        ]
        # One in three of all hatchlings is Ash: odds of 1 to 2, times the keeper's.
        assert chances == (odds / (odds + 2), 2 / (odds + 2))


def test_parents_after__a_daughter_or_son_tells_the_chromosome():
    # ZW: a dam with Elm on her W gives it to daughters, on her Z to sons, but for 1 in 10.
    pairing = pairing_of(FEN, "", "Elm? 1/2")
    daughters = one_doubt(pairing, "dam", "Elm", ({}, 3, Sex.FEMALE))
    unsexed = one_doubt(pairing, "dam", "Elm", ({}, 3))
    tenth = Fraction(1, 10)
    here = HALF * (HALF * tenth**3 + HALF * (1 - tenth) ** 3)
    assert daughters.after == here / (here + HALF)
    assert unsexed.after == HALF * HALF**3 / (HALF * HALF**3 + HALF)


def test_parents_after__know_the_phase_that_the_clutch_shows():
    phases = (Phase(("Clay", "Dune"), coupling=False),)
    sire = belief_of(FEN, stated(FEN, "Clay, Dune? 1/2", Sex.MALE, phases=phases))
    pairing = Pairing(FEN, sire, belief_of(FEN, stated(FEN, "", Sex.FEMALE)))
    # In repulsion without recombination every hatchling has one of the two.
    assert one_doubt(pairing, "sire", "Dune", ({}, 1)).verdict == "excluded"
    assert one_doubt(pairing, "sire", "Dune", (DUNE, 1)).verdict == "proven"
    assert one_doubt(pairing, "sire", "Dune", (CLAY, 2)).after == HALF


def test_parents_after__leave_uncertain_calls_out_when_the_states_are_too_many(monkeypatch):
    pairing = pairing_of(FEN, "2 Ash, 2 Bay", "Ash? 2/3, Bay? 1/2")
    calls = checked(pairing, ({}, 2), ((ASH, BAY), 1))
    doubtful = [("dam", "Ash"), ("dam", "Bay")]
    monkeypatch.setattr(module, "MOST_JOINT_STATES", 4)
    used = parents_after(pairing, doubtful, calls)
    monkeypatch.setattr(module, "MOST_JOINT_STATES", 3)
    left_out = parents_after(pairing, doubtful, calls)
    assert (used.uncertain_calls_used, left_out.uncertain_calls_used) == (True, False)
    assert left_out.doubts == parents_after(pairing, doubtful, calls[:1]).doubts
    assert left_out.doubts != used.doubts
    assert left_out.reading_odds == used.reading_odds
    # One of the two is there, so each is likelier than without the call.
    for more, less in zip(used.doubts, left_out.doubts, strict=True):
        assert more.after > less.after
