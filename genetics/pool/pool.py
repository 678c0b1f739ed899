"""Pool rows: the clutches that share a parent, reduced to parent configuration and cell counts."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING

from genetics.cross.offspring import Pairing
from genetics.model.belief import belief_of
from genetics.pool.cells import CellCount, CheckedCall, cell_counts, n_hits
from genetics.pool.target import Target, informed_targets

if TYPE_CHECKING:
    from collections.abc import Hashable

    from genetics.model.belief import ParentStatement
    from genetics.model.species import Sex, Species


@dataclass(frozen=True, slots=True)
class PairCounts:
    """Cells of all clutches of one pair; ``sire`` and ``dam`` are places in the row's lists."""

    sire: int
    dam: int
    cells: tuple[CellCount, ...]


@dataclass(frozen=True, slots=True)
class PoolRow:
    """What one family group says about one target.

    ``sires`` and ``dams`` hold what is stated of each animal at the loci of the target. An
    animal appears once, however many clutches it has, because they share what it really carries.
    Rows are put in a fixed order, so that equal families are mostly equal values; two that are
    equal in another order are two rows, which costs room and changes no result.
    """

    sires: tuple[ParentStatement, ...]
    dams: tuple[ParentStatement, ...]
    pairs: tuple[PairCounts, ...]


@dataclass(frozen=True, slots=True)
class FamilyClutch:
    """One clutch as the pool needs it.

    ``sire`` and ``dam`` identify the animals; ``None`` is an animal known from this clutch only.
    ``season`` is a year, None where it is not known.
    """

    pairing: Pairing
    sire: Hashable | None
    dam: Hashable | None
    sire_statement: ParentStatement
    dam_statement: ParentStatement
    calls: tuple[CheckedCall, ...]
    season: int | None
    declared: bool = False


@dataclass(frozen=True, slots=True)
class Contribution:
    """One family group's part in one target: its pool row and plain counts for answers.

    ``n_hits`` are certain, ``n_hits_possible`` includes the uncertain ones.
    """

    target: Target
    row: PoolRow
    n_clutches: int
    n_declared: int
    n_clutches_with_hit: int
    n_hatchlings: int
    n_hits: int
    n_hits_possible: int
    first_hit_season: int | None


def family_contributions(family: Sequence[FamilyClutch]) -> tuple[Contribution, ...]:
    """Contributions of one family group to every target that one of its clutches informs.

    All clutches belong to one species and one catalogue version. A clutch without hatchlings
    informs nothing. The order is that of the first clutch that informs a target.
    """
    informing: dict[Target, list[FamilyClutch]] = {}
    for clutch in family:
        if not any(checked.call.count for checked in clutch.calls):
            continue
        species = clutch.pairing.species
        for target in _targets_of(species, clutch.sire_statement, clutch.dam_statement):
            informing.setdefault(target, []).append(clutch)
    found = []
    for target, clutches in informing.items():
        contribution = _contribution(target, clutches)
        if contribution.n_hatchlings:
            found.append(contribution)
    return tuple(found)


@lru_cache(maxsize=512)
def _targets_of(
    species: Species, sire: ParentStatement, dam: ParentStatement
) -> tuple[Target, ...]:
    """Targets that a pair informs; remembered, since the same pair reports again and again."""
    return informed_targets(Pairing(species, belief_of(species, sire), belief_of(species, dam)))


def _contribution(target: Target, clutches: Sequence[FamilyClutch]) -> Contribution:
    species = clutches[0].pairing.species
    counted = [(one, cell_counts(species, target, one.calls)) for one in clutches]
    counted = [(one, cells) for one, cells in counted if cells]
    hits = [(one, *n_hits(target, cells)) for one, cells in counted]
    with_hit = [one for one, certain, _possible in hits if certain]
    return Contribution(
        target=target,
        row=_row(species, target, counted),
        n_clutches=len(counted),
        n_declared=sum(one.declared for one, _cells in counted),
        n_clutches_with_hit=len(with_hit),
        n_hatchlings=sum(cell.count for _one, cells in counted for cell in cells),
        n_hits=sum(certain for _one, certain, _possible in hits),
        n_hits_possible=sum(possible for _one, _certain, possible in hits),
        first_hit_season=min(
            (one.season for one in with_hit if one.season is not None), default=None
        ),
    )


def _row(
    species: Species,
    target: Target,
    counted: Sequence[tuple[FamilyClutch, tuple[CellCount, ...]]],
) -> PoolRow:
    pairs: dict[tuple[_Animal, _Animal], Counter[tuple[Sex | None, tuple[int, ...]]]] = {}
    for number, (clutch, cells) in enumerate(counted):
        sire = _Animal.of(clutch.sire, number, clutch.sire_statement, species, target)
        dam = _Animal.of(clutch.dam, number, clutch.dam_statement, species, target)
        counts = pairs.setdefault((sire, dam), Counter())
        for cell in cells:
            counts[cell.sex, cell.cells] += cell.count
    ordered = sorted(pairs.items(), key=lambda item: _pair_order(item[0], item[1]))
    sires = list(dict.fromkeys(sire for (sire, _dam), _counts in ordered))
    dams = list(dict.fromkeys(dam for (_sire, dam), _counts in ordered))
    return PoolRow(
        sires=tuple(sire.statement for sire in sires),
        dams=tuple(dam.statement for dam in dams),
        pairs=tuple(
            PairCounts(
                sire=sires.index(sire),
                dam=dams.index(dam),
                cells=tuple(
                    CellCount(sex=sex, cells=cells, count=count)
                    for (sex, cells), count in _cell_order(counts)
                ),
            )
            for (sire, dam), counts in ordered
        ),
    )


@dataclass(frozen=True, slots=True)
class _Animal:
    """An animal as one target sees it: the same animal stated anew is taken for another."""

    identity: Hashable
    statement: ParentStatement

    @classmethod
    def of(
        cls,
        identity: Hashable | None,
        number: int,
        statement: ParentStatement,
        species: Species,
        target: Target,
    ) -> _Animal:
        return cls(
            identity=("clutch", number) if identity is None else identity,
            statement=statement.restricted_to(species, target.loci),
        )


def _pair_order(
    animals: tuple[_Animal, _Animal], counts: Mapping[tuple[Sex | None, tuple[int, ...]], int]
) -> tuple[str, str, str]:
    sire, dam = animals
    return (repr(sire.statement), repr(dam.statement), repr(_cell_order(counts)))


def _cell_order(
    counts: Mapping[tuple[Sex | None, tuple[int, ...]], int],
) -> list[tuple[tuple[Sex | None, tuple[int, ...]], int]]:
    return sorted(counts.items(), key=lambda item: (item[0][0] or "", item[0][1]))
