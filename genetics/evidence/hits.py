"""From pool rows to the law of the number of hits, with what the parents share taken in.

The law of a family is exact. Its polynomials have whole numbers over one denominator and are packed
into one long integer each, so that a product of polynomials is one product of integers. The work is
counted beforehand, in products of machine words (``MOST_PRODUCTS``), and so is the room of a law
(``MOST_BITS``).
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache
from typing import TYPE_CHECKING, Final

from genetics.cross.offspring import Pairing, chance_law, mean_chance
from genetics.evidence.elimination import unaffordable
from genetics.evidence.hit_laws import FamilyHits, family_hits
from genetics.evidence.tail import HitLaw, TailResult, pooled_tail
from genetics.model.belief import belief_of
from genetics.pool.cells import n_hits
from genetics.pool.pool import ClutchCounts, PoolRow

if TYPE_CHECKING:
    from genetics.model.species import Sex, Species
    from genetics.pool.pool import PairCells
    from genetics.pool.target import Target

MOST_PRODUCTS: Final = 200_000_000
"""Products of machine words for the law of one family; larger families are taken apart."""

LARGE_PRODUCTS: Final = 5_000_000
"""Products from which on a family counts as large."""

MOST_PRODUCTS_OF_LARGE: Final = 600_000_000
"""Products of all large families of a pool together; the costliest are taken apart."""


@dataclass(frozen=True, slots=True)
class RowHits:
    """What one pool row brings to the pooled tail.

    Pairs with a single latent state are in ``hatchlings_by_chance``; a family with more has its
    own ``law``. ``cut`` says that the family was too much to sum over, and its pairs were taken as
    if they shared no animal; ``n_left_out`` of its possible hits are of pairs that were too much
    even so, and have no part in the tail.
    """

    hatchlings_by_chance: tuple[tuple[Fraction, int], ...]
    laws: tuple[HitLaw, ...]
    expected: Fraction
    n_certain: int
    n_possible: int
    n_hatchlings: int
    cut: bool
    n_left_out: int = 0


@dataclass(frozen=True, slots=True)
class PoolHits:
    """A whole pool: the tail at the hits with uncertain calls counted in, and the counts.

    ``n_cut`` is the number of families whose shared parents had to be left out of account.
    """

    tail: TailResult
    expected: Fraction
    n_hits: int
    n_hits_possible: int
    n_hatchlings: int
    n_cut: int


VersionPool = tuple["Species", "Target", Mapping["PoolRow", int]]
"""A species as one catalogue version has it, the target there, and pool row -> families."""


def pool_hits(pools: Sequence[VersionPool]) -> PoolHits:
    """Hits of a pool against expectation.

    Parameters
    ----------
    pools
        The same target under each catalogue version that its clutches were reported under, with
        the rows of that version and the number of families with just this row.
    """
    by_chance: Counter[Fraction] = Counter()
    laws: Counter[HitLaw] = Counter()
    expected, certain, possible, hatchlings, cut, left_out = Fraction(0), 0, 0, 0, 0, 0
    taken_apart = hits_apart(pools)
    for number, (species, target, rows) in enumerate(pools):
        for row, times in rows.items():
            hits = row_hits(species, target, row, apart=(number, row) in taken_apart)
            for chance, n in hits.hatchlings_by_chance:
                by_chance[chance] += n * times
            for law in hits.laws:
                laws[law] += times
            expected += hits.expected * times
            certain += hits.n_certain * times
            possible += hits.n_possible * times
            hatchlings += hits.n_hatchlings * times
            cut += hits.cut * times
            left_out += hits.n_left_out * times
    return PoolHits(
        tail=pooled_tail(hits=possible - left_out, hatchlings_by_chance=by_chance, laws=laws),
        expected=expected,
        n_hits=certain,
        n_hits_possible=possible,
        n_hatchlings=hatchlings,
        n_cut=cut,
    )


def hits_apart(pools: Sequence[VersionPool]) -> frozenset[tuple[int, PoolRow]]:
    """Rows (place of the pool, row) to take apart, so that the large ones stay affordable."""
    costs = {
        (number, row): row_products(species, target, row)
        for number, (species, target, rows) in enumerate(pools)
        for row in rows
    }
    return unaffordable(costs, small=LARGE_PRODUCTS, most=MOST_PRODUCTS_OF_LARGE)


def row_products(species: Species, target: Target, row: PoolRow) -> int:
    """Cost of the law of a family's hits; 0 if it is cut anyhow."""
    family = family_hits(species, target, row, MOST_PRODUCTS)
    return family.n_products if family else 0


def cut_hits(pools: Sequence[VersionPool]) -> frozenset[tuple[int, PoolRow]]:
    """Rows (place of the pool, row) that ``pool_hits`` takes apart."""
    taken_apart = hits_apart(pools)
    return frozenset(
        (number, row)
        for number, (species, target, rows) in enumerate(pools)
        for row in rows
        if row_hits(species, target, row, apart=(number, row) in taken_apart).cut
    )


def row_hits(species: Species, target: Target, row: PoolRow, *, apart: bool = False) -> RowHits:
    """The law of hits of one family, its expectation (exact) and its counts.

    A family that costs more than ``MOST_PRODUCTS``, or one that is to be taken apart, is cut into
    its pairs; a pair of more than ``LARGE_PRODUCTS`` even so is left out of the law.
    """
    return _row_hits(species, target, row, apart, (MOST_PRODUCTS, LARGE_PRODUCTS))


@lru_cache(maxsize=16384)
def _row_hits(
    species: Species,
    target: Target,
    row: PoolRow,
    apart: bool,  # noqa: FBT001 - part of the key
    most: tuple[int, int],
) -> RowHits:
    pairs = row.of_pairs()
    family = None if apart else family_hits(species, target, row, most[0])
    n_left_out = 0
    if family is not None:
        found = [family]
    else:
        found = []
        for pair in pairs:
            alone = family_hits(species, target, _pair_alone(row, pair), most[1])
            if alone is None:
                n_left_out += n_hits(target, pair.cells)[1]
            else:
                found.append(alone)
    by_chance, laws = _parts(found)
    counts = [cell for pair in pairs for cell in pair.cells]
    certain, possible = n_hits(target, counts)
    return RowHits(
        hatchlings_by_chance=tuple(sorted(by_chance.items())),
        laws=tuple(laws),
        expected=_expected(species, target, row, pairs),
        n_certain=certain,
        n_possible=possible,
        n_hatchlings=sum(cell.count for cell in counts),
        cut=family is None,
        n_left_out=n_left_out,
    )


def _parts(found: Sequence[FamilyHits]) -> tuple[Counter[Fraction], list[HitLaw]]:
    """Hatchlings of certain parents by their chance, and the laws of all others."""
    by_chance: Counter[Fraction] = Counter()
    laws = []
    for family in found:
        if family.steps:
            laws.append(HitLaw(chances=family.law()))
        else:
            for chance, n in family.sure_hatchlings():
                by_chance[chance] += n
    # Chances of 0 and 1, which one sex of a sex-linked target can have.
    for chance in [one for one in by_chance if one in {0, 1}]:
        n = by_chance.pop(chance)
        laws.append(HitLaw(chances=tuple(Fraction(k == n * chance) for k in range(n + 1))))
    return by_chance, laws


def _pair_alone(row: PoolRow, pair: PairCells) -> PoolRow:
    return PoolRow(
        sires=(row.sires[pair.sire],),
        dams=(row.dams[pair.dam],),
        clutches=(ClutchCounts(sire=0, dam=0, cells=pair.cells),),
    )


def _expected(
    species: Species, target: Target, row: PoolRow, pairs: Sequence[PairCells]
) -> Fraction:
    total = Fraction(0)
    for pair in pairs:
        sire, dam = row.sires[pair.sire], row.dams[pair.dam]
        pairing = Pairing(species, belief_of(species, sire), belief_of(species, dam))
        by_sex: Counter[Sex | None] = Counter()
        for cell in pair.cells:
            by_sex[cell.sex] += cell.count
        for sex, n in by_sex.items():
            total += mean_chance(chance_law(pairing, target.wanted, sex=sex)) * n
    return total
