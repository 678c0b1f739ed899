"""Simulated pools: what really hatches, written down by hand, and how it is reported.

Class order everywhere: neither gene, the first alone, the second alone, both. The chances of the
classes are plain numbers from the textbook; nothing of the code under test is used to draw.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cache

import numpy as np
from numpy.typing import NDArray

from genetics.model.belief import ParentStatement
from genetics.model.locus import Allele, Locus, Mode
from genetics.model.species import Sex, SexSystem, Species
from genetics.model.statement import StatedLocus, stated_genes
from genetics.pool.cells import CellCount
from genetics.pool.pool import ClutchCounts, PoolRow
from genetics.pool.target import Target, locus_factors, target_of

Counts = NDArray[np.int64]

BOTH = 3
MEAN_CLUTCH, SPREAD_OF_CLUTCHES = 6.0, 1.5
EGG_LOSS_ALPHA, EGG_LOSS_BETA = 1.0, 9.0
"""Eggs are lost for other reasons at a rate of each clutch's own, 10 % in the mean."""


@dataclass(frozen=True, eq=False)
class Cross:
    """A kind of pairing as it is stated: every clutch of a pool has other parents."""

    species: Species
    target: Target
    sire: ParentStatement
    dam: ParentStatement
    cells: tuple[int, int, int, int]

    @cache  # noqa: B019 - a handful of crosses, alive as long as the program
    def row(self, counts: tuple[int, ...], n_died: int | None = None) -> PoolRow:
        """The pool row of one clutch with these hatchlings by class."""
        cells = tuple(
            CellCount(sex=None, cells=(cell,), count=count)
            for cell, count in zip(self.cells, counts, strict=True)
            if count
        )
        clutch = ClutchCounts(sire=0, dam=0, cells=cells, n_died=n_died)
        return PoolRow(sires=(self.sire,), dams=(self.dam,), clutches=(clutch,))


def _cross(mode: Mode, sire: dict[str, int], dam: dict[str, int]) -> Cross:
    """Copies of gene ``one`` at locus a and ``two`` at locus b that each parent is said to have."""
    loci = tuple(Locus(key, (Allele(gene, mode),)) for key, gene in (("a", "one"), ("b", "two")))
    species = Species("moss-skink", "moss skink", SexSystem.NONE, loci)
    shown = {one.text: one for locus in loci for one in locus_factors(locus)}
    target = target_of(species, [shown["one"], shown["two"]])
    statements = [
        ParentStatement(
            stated_genes(
                species,
                {
                    key: StatedLocus(certain=(gene,) * copies[gene])
                    for key, gene in (("a", "one"), ("b", "two"))
                    if gene in copies
                },
            ),
            sex,
        )
        for copies, sex in ((sire, Sex.MALE), (dam, Sex.FEMALE))
    ]
    first, second = (
        ((1 << factor.n_bits) - 1) << shift
        for factor, shift in zip(target.factors, target.shifts, strict=True)
    )
    return Cross(species, target, *statements, cells=(0, first, second, first | second))


APART = _cross(Mode.INCOMPLETE_DOMINANT, {"one": 1}, {"two": 1})
"""Each parent has one of the two genes, in one copy: both in 1 of 4."""

TOGETHER = _cross(Mode.INCOMPLETE_DOMINANT, {"one": 1, "two": 1}, {})
"""One parent has both genes, in one copy each, the other none: both in 1 of 4."""

DOUBLE_HETS = _cross(Mode.RECESSIVE, {"one": 1, "two": 1}, {"one": 1, "two": 1})
"""Both parents are het for both recessives: both in 1 of 16."""


@dataclass(frozen=True, slots=True)
class World:
    """What is really going on.

    ``psi``: hatchlings with both genes hatch so often. ``mislabelled``: chance that a stated gene
    of a parent is not there (parents with one stated gene only). ``mistaken``: share of those with
    both that are called by the first gene alone. ``unseen``: share of the first gene's carriers in
    whom it goes unseen. ``short``: hatchlings with the first gene hatch so often.
    ``recombination_fraction``: the genes are linked, and apart in the parents that have both.
    """

    cross: Cross = APART
    psi: float = 1.0
    mislabelled: float = 0.0
    mistaken: float = 0.0
    unseen: float = 0.0
    short: float = 1.0
    recombination_fraction: float = 0.5

    def with_mislabelled(self, share: float) -> World:
        return replace(self, mislabelled=share)


@dataclass(frozen=True, eq=False)
class Pools:
    """Many pools of one world: hatchlings by (pool, clutch, class), dead eggs by (pool, clutch)."""

    cross: Cross
    counts: Counts
    n_died: Counts

    def hatchlings(self) -> Counts:
        """Hatchlings up to each look, shape (pools, clutches)."""
        return self.counts.sum(axis=2).cumsum(axis=1)

    def hits(self) -> Counts:
        """Those with both genes up to each look."""
        return self.counts[:, :, BOTH].cumsum(axis=1)

    def pool(
        self, number: int, n_clutches: int | None = None, *, with_eggs: bool = False
    ) -> list[tuple[Species, Target, Counter[PoolRow]]]:
        """One pool up to a look, in the form that the evidence takes."""
        counts = self.counts[number, :n_clutches].tolist()
        died = self.n_died[number, :n_clutches].tolist()
        rows = Counter(
            self.cross.row(tuple(one), dead if with_eggs else None)
            for one, dead in zip(counts, died, strict=True)
        )
        return [(self.cross.species, self.cross.target, rows)]

    def every(
        self, *, with_eggs: bool = False
    ) -> Iterator[list[tuple[Species, Target, Counter[PoolRow]]]]:
        return (self.pool(number, with_eggs=with_eggs) for number in range(len(self.counts)))


def simulated(world: World, *, n_pools: int, n_clutches: int, seed: int) -> Pools:
    """Pools of a world, one family per clutch."""
    rng = np.random.default_rng(seed)
    shape = (n_pools, n_clutches)
    has = rng.random((*shape, 2)) >= world.mislabelled
    laid = _class_chances(world, has[..., 0], has[..., 1])
    survive = np.array([1.0, world.short, 1.0, world.short * world.psi])
    hatching = laid * survive
    alive = hatching.sum(axis=-1)
    called = (hatching / alive[..., None]) @ _calls(world)
    sizes = np.maximum(1, np.rint(rng.normal(MEAN_CLUTCH, SPREAD_OF_CLUTCHES, shape))).astype(int)
    losses = rng.beta(EGG_LOSS_ALPHA, EGG_LOSS_BETA, shape)
    return Pools(
        cross=world.cross,
        counts=rng.multinomial(sizes, called),
        n_died=rng.negative_binomial(sizes, (1 - losses) * alive),
    )


def _class_chances(
    world: World, has_one: NDArray[np.bool_], has_two: NDArray[np.bool_]
) -> NDArray[np.float64]:
    """Chance of each class among the eggs, by what the parents really carry."""
    r = world.recombination_fraction
    if world.cross is APART:
        one, two = has_one / 2, has_two / 2
        return np.stack(
            [(1 - one) * (1 - two), one * (1 - two), (1 - one) * two, one * two], axis=-1
        )
    gametes = np.array([r / 2, (1 - r) / 2, (1 - r) / 2, r / 2])
    if world.cross is DOUBLE_HETS:
        both = gametes[BOTH] ** 2
        gametes = np.array([1 / 2 + both, 1 / 4 - both, 1 / 4 - both, both])
    return np.broadcast_to(gametes, (*has_one.shape, 4))


def _calls(world: World) -> NDArray[np.float64]:
    """Chance of each call (column) for a hatchling of each class (row)."""
    mistaken, unseen = world.mistaken, world.unseen
    looks = np.array([[1, 0, 0, 0], [0, 1, 0, 0], [0, 0, 1, 0], [0, mistaken, 0, 1 - mistaken]])
    sees = np.array(
        [[1, 0, 0, 0], [unseen, 1 - unseen, 0, 0], [0, 0, 1, 0], [0, 0, unseen, 1 - unseen]]
    )
    return looks @ sees
