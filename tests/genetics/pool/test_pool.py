"""Family contributions: who is the same animal, and what each target gets of a clutch."""

from hypothesis import given, settings
from hypothesis import strategies as st

from genetics.cross.offspring import Pairing
from genetics.model.belief import belief_of
from genetics.model.species import Sex
from genetics.pool.cells import Call, CellCount, cell_counts, checked_call, n_hits
from genetics.pool.pool import (
    ClutchCounts,
    FamilyClutch,
    PairCells,
    family_contributions,
    target_row,
)
from genetics.pool.target import informed_targets
from tests.factories.pairings import stated
from tests.factories.species import FIXTURES, species_from_file

BALL_PYTHON = species_from_file(FIXTURES / "catalogue" / "ball-python.json")
CLOWN, PASTEL = {"bp-clown": "Clown"}, {"bp-pastel": "Pastel"}


def clutch(sire, dam, *calls, names=(None, None), season=2024, declared=False, died=None):
    """A clutch; each call is (reading, count) or (readings, count, sex)."""
    sire_said = stated(BALL_PYTHON, sire, Sex.MALE)
    dam_said = stated(BALL_PYTHON, dam, Sex.FEMALE)
    pairing = Pairing(
        BALL_PYTHON, belief_of(BALL_PYTHON, sire_said), belief_of(BALL_PYTHON, dam_said)
    )
    return FamilyClutch(
        pairing=pairing,
        sire=names[0],
        dam=names[1],
        sire_statement=sire_said,
        dam_statement=dam_said,
        calls=tuple(checked_call(pairing, Call(readings, n, sex)) for readings, n, sex in calls),
        season=season,
        declared=declared,
        n_died=died,
    )


def sure(said, n, sex=None):
    return ((said,), n, sex)


def by_text(contributions):
    return {" ".join(factor.text for factor in one.target.factors): one for one in contributions}


def test_family_contributions__of_one_clutch_are_one_per_informed_target():
    one = clutch("Clown, Pastel", "Clown", sure({}, 3), sure(CLOWN, 1), sure(PASTEL, 2), died=2)
    found = family_contributions([one])
    assert [c.target for c in found] == list(informed_targets(one.pairing))
    clown = by_text(found)["Clown"]
    assert (clown.n_hatchlings, clown.n_hits, clown.n_hits_possible) == (6, 1, 1)
    assert (clown.n_clutches, clown.n_clutches_with_hit, clown.first_hit_season) == (1, 1, 2024)
    assert by_text(found)["Clown Pastel"].first_hit_season is None
    assert clown.row.sires == (stated(BALL_PYTHON, "Clown", Sex.MALE),)
    # Clown can show in another way, beside Cryptic: it takes two bits.
    cells = (CellCount(None, (0,), 5), CellCount(None, (3,), 1))
    assert clown.row.clutches == (ClutchCounts(0, 0, cells, n_died=2, declared=False),)
    assert clown.row.of_pairs() == (PairCells(0, 0, cells),)


def test_family_contributions__count_an_animal_once():
    family = [
        clutch("Clown", "Clown", sure({}, 3), names=("m", "f"), season=2023, died=1),
        clutch("Clown", "Clown", sure({}, 1), sure(CLOWN, 2), names=("m", "f"), season=2025),
        clutch("Clown", "2 Clown", sure(CLOWN, 2), names=("m", "g"), season=2022, declared=True),
    ]
    [found] = family_contributions(family)
    assert (len(found.row.sires), len(found.row.dams), len(found.row.of_pairs())) == (1, 2, 2)
    assert (found.n_clutches, found.n_clutches_with_hit, found.n_declared) == (3, 2, 1)
    assert (found.n_hatchlings, found.n_hits, found.first_hit_season) == (8, 4, 2022)
    pairs = found.row.of_pairs()
    same = [pair for pair in pairs if sum(cell.count for cell in pair.cells) == 6]
    assert [pair.cells for pair in same] == [(CellCount(None, (0,), 4), CellCount(None, (3,), 2))]
    # Each clutch keeps its own counts, its eggs and whether it was declared.
    assert {(one.cells, one.n_died, one.declared) for one in found.row.clutches} == {
        ((CellCount(None, (0,), 3),), 1, False),
        ((CellCount(None, (0,), 1), CellCount(None, (3,), 2)), None, False),
        ((CellCount(None, (3,), 2),), None, True),
    }
    (declared,) = found.row.declared_only().clutches
    assert (declared.declared, declared.cells) == (True, (CellCount(None, (3,), 2),))


def test_declared_only__of_nothing_declared_is_none():
    [found] = family_contributions([clutch("Clown", "Clown", sure({}, 3))])
    assert found.row.declared_only() is None


def test_target_row__is_the_row_of_the_contribution():
    family = [
        clutch("Clown, Pastel", "Clown", sure({}, 3), sure(CLOWN, 1), names=("m", "f"), died=2),
        clutch("Clown", "2 Clown", sure(CLOWN, 2), names=("m", "g"), declared=True),
        clutch("Pastel", "", sure(PASTEL, 2), names=("n", "h")),
        clutch("Clown", "Clown", names=("m", "f")),
    ]
    contributions = family_contributions(family)
    assert len(contributions) == 3
    for one in contributions:
        assert target_row(family, one.target) == one.row
    clown = by_text(contributions)["Clown"].target
    assert target_row(family[2:], clown) is None
    assert target_row([], clown) is None


def test_family_contributions__take_an_animal_without_a_name_for_another():
    unnamed = [clutch("Clown", "Clown", sure({}, 3), names=(None, "f")) for _ in range(2)]
    [found] = family_contributions(unnamed)
    assert (len(found.row.sires), len(found.row.dams)) == (2, 1)


def test_family_contributions__take_an_animal_stated_anew_for_another_at_that_gene_only():
    family = [
        clutch("Clown, Pastel", "Clown", sure({}, 3), names=("m", "f")),
        clutch("Clown? 2/3, Pastel", "Clown", sure({}, 2), names=("m", "f")),
    ]
    found = by_text(family_contributions(family))
    assert len(found["Clown"].row.sires) == 2
    assert len(found["Pastel"].row.sires) == 1


def test_family_contributions__use_a_clutch_only_for_what_it_informs():
    family = [
        clutch("Clown", "Clown", sure({}, 3), names=("m", "f")),
        clutch("Clown", "Pastel", sure(PASTEL, 2), names=("m", "g")),
    ]
    found = by_text(family_contributions(family))
    assert set(found) == {"Clown", "Pastel"}
    assert (found["Clown"].n_hatchlings, found["Pastel"].n_hatchlings) == (3, 2)


def test_family_contributions__of_empty_or_contradicting_clutches_are_none():
    assert family_contributions([]) == ()
    assert family_contributions([clutch("Clown", "Clown")]) == ()
    assert family_contributions([clutch("Clown", "Clown", sure({}, 0))]) == ()
    wrong = clutch("Clown", "Clown", sure(PASTEL, 3))
    # Away from the contradicted gene the hatchlings still count.
    assert by_text(family_contributions([wrong]))["Clown"].n_hatchlings == 3
    assert (
        family_contributions([clutch("Pastel", "", sure({"bp-pastel": "Super Pastel"}, 3))]) == ()
    )


def test_family_contributions__know_no_season_that_is_not_known():
    family = [
        clutch("Clown", "Clown", sure(CLOWN, 1), names=("m", "f"), season=None),
        clutch("Clown", "Clown", sure(CLOWN, 1), names=("m", "f"), season=2021),
    ]
    assert family_contributions(family)[0].first_hit_season == 2021
    assert family_contributions(family[:1])[0].first_hit_season is None


def test_family_contributions__are_equal_values_in_any_order_of_the_clutches():
    family = [
        clutch("Clown", "Clown", sure({}, 3), names=("m", "f")),
        clutch("Clown", "2 Clown", sure(CLOWN, 1), names=("m", "g")),
        clutch("Clown? 1/2", "2 Clown", sure({}, 2), names=("n", "g")),
    ]
    [one] = family_contributions(family)
    [other] = family_contributions(family[::-1])
    assert one.row == other.row


TEXTS = ["", "Clown", "2 Clown", "Clown? 2/3", "Clown, Pastel", "Pastel, Pinstripe"]
LOOKS = [{}, CLOWN, PASTEL, CLOWN | PASTEL, {"bp-pinstripe": "Pinstripe"}]


@settings(max_examples=60, deadline=None)
@given(data=st.data())
def test_family_contributions__keep_every_hatchling(data):
    stated_of = {}

    def animal(names):
        name = data.draw(st.sampled_from(names))
        return name, stated_of.setdefault(name, data.draw(st.sampled_from(TEXTS)))

    family = []
    for _ in range(data.draw(st.integers(1, 4))):
        (sire, sire_said), (dam, dam_said) = animal("mn"), animal("fg")
        calls = [
            (tuple(said), data.draw(st.integers(0, 3)), None)
            for said in data.draw(
                st.lists(
                    st.lists(st.sampled_from(LOOKS), min_size=1, max_size=2, unique_by=repr),
                    max_size=3,
                )
            )
        ]
        family.append(clutch(sire_said, dam_said, *calls, names=(sire, dam)))
    found = family_contributions(family)
    assert len({one.target for one in found}) == len(found)

    expected = {}
    for one in family:
        if any(checked.call.count for checked in one.calls):
            for target in informed_targets(one.pairing):
                cells = cell_counts(BALL_PYTHON, target, one.calls)
                total = sum(cell.count for cell in cells)
                before = expected.get(target, (0, 0, 0))
                hits = n_hits(target, cells)
                added = (total, *hits)
                expected[target] = tuple(a + b for a, b in zip(before, added, strict=True))
    assert {one.target: (one.n_hatchlings, one.n_hits, one.n_hits_possible) for one in found} == {
        target: sums for target, sums in expected.items() if sums[0]
    }
    for one in found:
        pairs = one.row.of_pairs()
        for entries in (one.row.clutches, pairs):
            cells = [cell for entry in entries for cell in entry.cells]
            assert sum(cell.count for cell in cells) == one.n_hatchlings
            assert n_hits(one.target, cells) == (one.n_hits, one.n_hits_possible)
        assert len(one.row.clutches) == one.n_clutches
        assert len({(pair.sire, pair.dam) for pair in pairs}) == len(pairs)
        assert target_row(family, one.target) == one.row
