"""Likelihood of a pool when parents may not be what they are said to be.

For one family the likelihood is a sum over what its animals really carry. A state with ``k`` of the
family's ``m`` doubtful genes missing has the prior weight ``c**k * (1 - c)**(m - k)``, so the
family's likelihood is a polynomial in the nuisance rate ``c`` with nonnegative coefficients. They
are computed once per distinct pool row; everything else is sums of logarithms of these polynomials.

The work is bounded and counted beforehand, in terms (see ``genetics.evidence.family``): at most
``MOST_TERMS`` for one row and way, and ``MOST_TERMS_OF_LARGE`` for all large rows of a pool
together. A way has 8 bytes a term at the most while a row is computed, and ``MOST_KEPT`` rows of
polynomials are kept.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import TYPE_CHECKING, Final

import numpy as np

from genetics.evidence.elimination import unaffordable
from genetics.evidence.family import family_of, family_sum
from genetics.pool.pool import ClutchCounts, PoolRow

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from genetics.model.species import Species
    from genetics.pool.pool import PairCells
    from genetics.pool.target import Target

    Floats = NDArray[np.float64]

MOST_TERMS: Final = 1_000_000
"""Terms of one family and way; larger families are taken apart, see ``RowLikelihood.is_cut``."""

LARGE_TERMS: Final = 50_000
"""Terms from which on a family counts as large."""

MOST_TERMS_OF_LARGE: Final = 3_000_000
"""Terms of all large families of a pool together, for each way; the costliest are taken apart."""

MOST_KEPT: Final = 16_384
"""Polynomials that are remembered, by row and ways."""


@dataclass(frozen=True, eq=False)
class Distortions:
    """Ways in which hatchlings may depart from Mendel, as linear maps on the cell chances.

    ``maps`` has the shape (ways, cells, cells): what hatches and is called so has chances
    proportional to ``map @ chances``.
    """

    maps: Floats

    def __len__(self) -> int:
        return len(self.maps)


@dataclass(frozen=True, eq=False)
class RowLikelihood:
    """One pool row's likelihood under each way, as polynomials in the nuisance rate.

    For way ``w`` it is ``exp(log_scale[w]) * sum(coefficients[w, k] * c**k * (1-c)**(m-k))`` with
    ``m = coefficients.shape[1] - 1``. ``is_cut`` says that the family was too much to sum over and
    its pairs were taken as if they shared no animal.
    """

    log_scale: Floats
    coefficients: Floats
    is_cut: bool


def row_likelihoods(
    species: Species,
    target: Target,
    row: PoolRow,
    distortions: Distortions,
    *,
    apart: bool = False,
) -> tuple[RowLikelihood, ...]:
    """The likelihood of a family; several factors if it had to be cut into pairs.

    A family of more than ``MOST_TERMS`` (see ``family_of``), or one that is to be taken apart, is
    cut into its pairs. A pair that is large even so is left out: it speaks neither for nor against
    anything. So a family that is cut costs at most ``LARGE_TERMS`` for each of its pairs.
    """
    if not apart and family_of(species, target, row, MOST_TERMS) is not None:
        return (_family(species, target, row, distortions, MOST_TERMS),)
    return tuple(
        replace(
            _family(species, target, _pair_alone(row, pair), distortions, LARGE_TERMS), is_cut=True
        )
        for pair in row.of_pairs()
    )


def _pair_alone(row: PoolRow, pair: PairCells) -> PoolRow:
    return PoolRow(
        sires=(row.sires[pair.sire],),
        dams=(row.dams[pair.dam],),
        clutches=(ClutchCounts(sire=0, dam=0, cells=pair.cells),),
    )


@lru_cache(maxsize=MOST_KEPT)
def _family(
    species: Species, target: Target, row: PoolRow, distortions: Distortions, most: int
) -> RowLikelihood:
    family = family_of(species, target, row, most)
    if family is None:
        n_ways = len(distortions)
        return RowLikelihood(np.zeros(n_ways), np.ones((n_ways, 1)), is_cut=True)
    scale, coefficients = family_sum(family, distortions.maps)
    return RowLikelihood(log_scale=scale, coefficients=coefficients, is_cut=False)


def row_terms(species: Species, target: Target, row: PoolRow) -> int:
    """Cost of a family's likelihood; 0 if it is cut anyhow."""
    family = family_of(species, target, row, MOST_TERMS)
    return family.n_terms if family else 0


@dataclass(frozen=True, eq=False)
class PoolLikelihood:
    """Log-likelihood of a whole pool as a function of way and nuisance rate.

    ``n_cut`` families were taken apart, see ``RowLikelihood.is_cut``.
    """

    n_ways: int
    parts: tuple[tuple[Floats, Floats, Floats], ...]
    n_cut: int

    def log_at(self, rates: Floats, ways: slice = slice(None)) -> Floats:
        """Log-likelihood, shape (ways, rates); rates from 0 to 1."""
        n_ways = len(range(*ways.indices(self.n_ways)))
        total = np.zeros((n_ways, len(rates)))
        for times, scale, coefficients in self.parts:
            m = coefficients.shape[2] - 1
            powers = np.array([rates**k * (1 - rates) ** (m - k) for k in range(m + 1)])
            with np.errstate(divide="ignore"):
                logs = np.log(coefficients[:, ways] @ powers) + scale[:, ways, None]
            total += np.tensordot(times, logs, axes=1)
        return total


def pool_likelihood(
    pools: Sequence[tuple[Species, Target, Mapping[PoolRow, int]]],
    distortions: Distortions,
) -> PoolLikelihood:
    """The likelihood of a pool: work in the number of distinct rows, not of clutches.

    Parameters
    ----------
    pools
        As for ``pool_hits``: the target under each catalogue version, with its rows.
    """
    by_degree: dict[int, list[tuple[float, RowLikelihood]]] = {}
    n_cut = 0
    taken_apart = rows_apart(pools)
    for number, (species, target, rows) in enumerate(pools):
        for row, times in rows.items():
            apart = (number, row) in taken_apart
            factors = row_likelihoods(species, target, row, distortions, apart=apart)
            n_cut += times * factors[0].is_cut
            for factor in factors:
                by_degree.setdefault(factor.coefficients.shape[1], []).append((times, factor))
    parts = tuple(
        (
            np.array([times for times, _factor in same], dtype=float),
            np.array([factor.log_scale for _times, factor in same]),
            np.array([factor.coefficients for _times, factor in same]),
        )
        for same in by_degree.values()
    )
    return PoolLikelihood(n_ways=len(distortions), parts=parts, n_cut=n_cut)


def rows_apart(
    pools: Sequence[tuple[Species, Target, Mapping[PoolRow, int]]],
) -> frozenset[tuple[int, PoolRow]]:
    """Rows (place of the pool, row) to take apart, so that the large ones stay affordable."""
    costs = {
        (number, row): row_terms(species, target, row)
        for number, (species, target, rows) in enumerate(pools)
        for row in rows
    }
    return unaffordable(costs, small=LARGE_TERMS, most=MOST_TERMS_OF_LARGE)


def cut_rows(
    pools: Sequence[tuple[Species, Target, Mapping[PoolRow, int]]],
) -> frozenset[tuple[int, PoolRow]]:
    """Rows (place of the pool, row) that the likelihood takes apart or leaves out of account."""
    beyond = {
        (number, row)
        for number, (species, target, rows) in enumerate(pools)
        for row in rows
        if family_of(species, target, row, MOST_TERMS) is None
    }
    return rows_apart(pools) | beyond
