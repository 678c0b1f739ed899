"""Pool rows: the clutches that share a parent, reduced to parent configuration and cell counts."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import TYPE_CHECKING

from genetics.cross.offspring import Pairing
from genetics.model.belief import belief_of
from genetics.pool.cells import CellCount, CheckedCall, cell_counts, n_hits
from genetics.pool.target import Target, informed_targets, is_informed

if TYPE_CHECKING:
    from collections.abc import Hashable

    from genetics.model.belief import ParentStatement
    from genetics.model.species import Sex, Species


@dataclass(frozen=True, slots=True)
class ClutchCounts:
    """Cells of one clutch; ``sire`` and ``dam`` are places in the row's lists.

    ``n_died`` is the number of eggs that developed and died, None if they were not counted.
    """

    sire: int
    dam: int
    cells: tuple[CellCount, ...]
    n_died: int | None = None
    declared: bool = False


@dataclass(frozen=True, slots=True)
class PairCells:
    """Cells of all clutches of one pair of a pool row."""

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
    clutches: tuple[ClutchCounts, ...]

    def of_pairs(self) -> tuple[PairCells, ...]:
        """The clutches of each pair taken together: given the parents only the sums matter."""
        found: dict[tuple[int, int], Counter[tuple[Sex | None, tuple[int, ...]]]] = {}
        for clutch in self.clutches:
            counts = found.setdefault((clutch.sire, clutch.dam), Counter())
            for cell in clutch.cells:
                counts[cell.sex, cell.cells] += cell.count
        return tuple(
            PairCells(sire=sire, dam=dam, cells=_cells(counts))
            for (sire, dam), counts in found.items()
        )

    def declared_only(self) -> PoolRow | None:
        """The row with the declared clutches alone; None if there are none."""
        declared = tuple(one for one in self.clutches if one.declared)
        return replace(self, clutches=declared) if declared else None


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
    n_died: int | None = None


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


def target_row(family: Sequence[FamilyClutch], target: Target) -> PoolRow | None:
    """The row of one family for one target; None if no clutch with hatchlings informs it."""
    counted = [
        (one, cells)
        for one in family
        if any(checked.call.count for checked in one.calls)
        and is_informed(one.pairing, target)
        and (cells := cell_counts(one.pairing.species, target, one.calls))
    ]
    if not any(cell.count for _one, cells in counted for cell in cells):
        return None
    return _row(counted[0][0].pairing.species, target, counted)


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
    entries = []
    for number, (clutch, cells) in enumerate(counted):
        sire = _Animal.of(clutch.sire, number, clutch.sire_statement, species, target)
        dam = _Animal.of(clutch.dam, number, clutch.dam_statement, species, target)
        entries.append((sire, dam, cells, clutch.n_died, clutch.declared))
    entries.sort(key=_entry_order)
    sires = list(dict.fromkeys(entry[0] for entry in entries))
    dams = list(dict.fromkeys(entry[1] for entry in entries))
    return PoolRow(
        sires=tuple(sire.statement for sire in sires),
        dams=tuple(dam.statement for dam in dams),
        clutches=tuple(
            ClutchCounts(
                sire=sires.index(sire),
                dam=dams.index(dam),
                cells=cells,
                n_died=n_died,
                declared=declared,
            )
            for sire, dam, cells, n_died, declared in entries
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


_Entry = tuple[_Animal, _Animal, tuple[CellCount, ...], int | None, bool]


def _entry_order(entry: _Entry) -> tuple[str, str, str]:
    sire, dam, *rest = entry
    return (repr(sire.statement), repr(dam.statement), repr(rest))


def _cells(counts: Mapping[tuple[Sex | None, tuple[int, ...]], int]) -> tuple[CellCount, ...]:
    ordered = sorted(counts.items(), key=lambda item: (item[0][0] or "", item[0][1]))
    return tuple(CellCount(sex=sex, cells=cells, count=count) for (sex, cells), count in ordered)
