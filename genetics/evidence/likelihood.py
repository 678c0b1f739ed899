"""Likelihood of a pool when parents may not be what they are said to be.

For one family the likelihood is a sum over what its animals really carry. A state with ``k`` of the
family's ``m`` doubtful genes missing has the prior weight ``c**k * (1 - c)**(m - k)``, so the
family's likelihood is a polynomial in the nuisance rate ``c`` with nonnegative coefficients. They
are computed once per distinct pool row; everything else is sums of logarithms of these polynomials.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import product
from typing import TYPE_CHECKING

import numpy as np

from genetics.evidence.latent import AnimalStates, animal_states, cell_chances

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from genetics.model.species import Species
    from genetics.pool.pool import PairCells, PoolRow
    from genetics.pool.target import Target

    Floats = NDArray[np.float64]

MOST_STATES = 20_000
"""Latent states of one family that are summed over; see ``RowLikelihood.is_cut``."""


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
    ``m = coefficients.shape[1] - 1``. ``is_cut`` says that the family had more than ``MOST_STATES``
    latent states and its pairs were taken as if they shared no animal.
    """

    log_scale: Floats
    coefficients: Floats
    is_cut: bool


@lru_cache(maxsize=65536)
def row_likelihoods(
    species: Species, target: Target, row: PoolRow, distortions: Distortions
) -> tuple[RowLikelihood, ...]:
    """The likelihood of a family; several factors if it had to be cut into pairs."""
    sires = [animal_states(species, target, one) for one in row.sires]
    dams = [animal_states(species, target, one) for one in row.dams]
    n_states = int(np.prod([len(one.states) for one in sires])) * max(len(d.states) for d in dams)
    if n_states > MOST_STATES and len(row.of_pairs()) > 1:
        return tuple(
            _family(
                species, target, ([sires[p.sire]], [dams[p.dam]]), [(p, 0, 0)], distortions, True
            )
            for p in row.of_pairs()
        )
    pairs = [(pair, pair.sire, pair.dam) for pair in row.of_pairs()]
    return (_family(species, target, (sires, dams), pairs, distortions, False),)


def _family(
    species: Species,
    target: Target,
    animals: tuple[Sequence[AnimalStates], Sequence[AnimalStates]],
    pairs: Sequence[tuple[PairCells, int, int]],
    distortions: Distortions,
    is_cut: bool,  # noqa: FBT001 - handed on as it is
) -> RowLikelihood:
    sires, dams = animals
    logs = {
        (sire, dam): _pair_logs(species, target, sires[sire], dams[dam], pair, distortions)
        for pair, sire, dam in pairs
    }
    m = sum(one.n_doubtful for one in (*sires, *dams))
    terms: list[tuple[int, Floats]] = []
    for chosen in product(*(range(len(one.states)) for one in sires)):
        n_missing, log_weight = 0, 0.0
        for sire, number in zip(sires, chosen, strict=True):
            n_missing += sire.states[number].n_missing
            log_weight += float(np.log(sire.states[number].weight))
        partial = {n_missing: np.full(len(distortions), log_weight)}
        for dam, states in enumerate(dams):
            hers = [logs[sire, other] for sire, other in logs if other == dam]
            his = [sire for sire, other in logs if other == dam]
            partial = _times_dam(
                partial,
                states,
                [log[:, chosen[sire], :] for sire, log in zip(his, hers, strict=True)],
            )
        terms += partial.items()
    return _polynomial(terms, m, len(distortions), is_cut=is_cut)


def _times_dam(
    partial: dict[int, Floats], dam: AnimalStates, logs: Sequence[Floats]
) -> dict[int, Floats]:
    """Multiply by the sum over one dam's states; logs have the shape (ways, her states)."""
    total = sum(logs, start=np.zeros((len(next(iter(partial.values()))), len(dam.states))))
    found: dict[int, Floats] = {}
    for before, value in partial.items():
        for number, state in enumerate(dam.states):
            log = value + total[:, number] + np.log(state.weight)
            key = before + state.n_missing
            found[key] = np.logaddexp(found[key], log) if key in found else log
    return found


def _polynomial(
    terms: Sequence[tuple[int, Floats]], m: int, n_ways: int, *, is_cut: bool
) -> RowLikelihood:
    logs = np.full((n_ways, m + 1), -np.inf)
    for k, log in terms:
        logs[:, k] = np.logaddexp(logs[:, k], log)
    scale = logs.max(axis=1)
    safe = np.where(np.isfinite(scale), scale, 0.0)
    return RowLikelihood(
        log_scale=np.where(np.isfinite(scale), scale, -np.inf),
        coefficients=np.exp(logs - safe[:, None]),
        is_cut=is_cut,
    )


def _pair_logs(
    species: Species,
    target: Target,
    sire: AnimalStates,
    dam: AnimalStates,
    pair: PairCells,
    distortions: Distortions,
) -> Floats:
    """Log-likelihood of a pair's hatchlings: (ways, states of the sire, states of the dam)."""
    total = np.zeros((len(distortions), len(sire.states), len(dam.states)))
    for sex in dict.fromkeys(cell.sex for cell in pair.cells):
        chances = np.array(
            [
                [
                    cell_chances(species, target, one.haplotypes, other.haplotypes, sex)
                    for other in dam.states
                ]
                for one in sire.states
            ]
        )
        distorted = np.einsum("wij,sdj->wsdi", distortions.maps, chances)
        whole = distorted.sum(axis=3)
        with np.errstate(divide="ignore", invalid="ignore"):
            shares = np.where(whole[..., None] > 0, distorted / whole[..., None], 0.0)
            for cell in pair.cells:
                if cell.sex == sex and cell.count:
                    seen = shares[..., list(cell.cells)].sum(axis=3)
                    total += cell.count * np.log(seen)
    return total


@dataclass(frozen=True, eq=False)
class PoolLikelihood:
    """Log-likelihood of a whole pool as a function of way and nuisance rate."""

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
    for species, target, rows in pools:
        for row, times in rows.items():
            factors = row_likelihoods(species, target, row, distortions)
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
