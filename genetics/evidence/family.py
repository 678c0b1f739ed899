"""The sum over what the animals of one family may carry: graph, cost, and polynomials by parts.

The cost of a family is counted in terms: numbers multiplied for one way in which hatchlings may
depart from Mendel. It is known before anything of that is computed.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, Final

import numpy as np

from genetics.evidence.elimination import (
    MOST_PAIR_STATES,
    Step,
    Tie,
    alike,
    elimination,
    merged,
)
from genetics.evidence.latent import AnimalStates, animal_states, cell_tables

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from genetics.evidence.elimination import Numbers
    from genetics.model.belief import ParentStatement
    from genetics.model.species import Sex, Species
    from genetics.pool.pool import PairCells, PoolRow
    from genetics.pool.target import Target

    Floats = NDArray[np.float64]

_TERMS_OF_A_LOGARITHM: Final = 4
_CELLS_PER_TERM: Final = 8
"""Products of a matrix of chances are that much cheaper than a term of a polynomial (measured)."""


@dataclass(frozen=True, eq=False)
class PairLaws:
    """Chances of the cells for every pair of states of two parents.

    ``numbers`` has a row for each state of the sire and a column for each of the dam; it says which
    of ``laws`` holds, of shape (sexes, laws, cells).
    """

    numbers: Numbers
    laws: Floats


@lru_cache(maxsize=1024)
def pair_laws(
    species: Species,
    target: Target,
    sire: ParentStatement,
    dam: ParentStatement,
    sexes: tuple[Sex | None, ...],
) -> PairLaws:
    """Every distinct law of a pair's hatchlings, of each of the sexes, in order of appearance."""
    his, hers = (
        [state.haplotypes for state in animal_states(species, target, one).states]
        for one in (sire, dam)
    )
    every = np.stack([cell_tables(species, target, his, hers, sex) for sex in sexes], axis=2)
    n_rows, n_columns = every.shape[:2]
    flat = every.reshape(n_rows * n_columns, -1)
    _laws, places, numbers = np.unique(flat, axis=0, return_index=True, return_inverse=True)
    order = np.argsort(places)
    rank = np.empty_like(order)
    rank[order] = np.arange(len(order))
    laws = every.reshape(n_rows * n_columns, len(sexes), -1)[places[order]].transpose(1, 0, 2)
    return PairLaws(
        numbers=rank[numbers.reshape(n_rows, n_columns)].astype(np.int64),
        laws=np.ascontiguousarray(laws),
    )


@dataclass(frozen=True, eq=False)
class _Edge:
    """A pair: its tie between merged states, the laws, its hatchlings with their place of a sex."""

    tie: Tie
    laws: Floats
    calls: tuple[tuple[int, tuple[int, ...], int], ...]


@dataclass(frozen=True, eq=False)
class Family:
    """A family ready to be summed over.

    ``priors`` hold, for each animal, the weights of its merged states (rows) by the number of
    stated genes that are missing in them (columns). ``n_terms`` is the cost, see ``family_of``.
    """

    edges: tuple[_Edge, ...]
    priors: tuple[Floats, ...]
    steps: tuple[Step, ...]
    n_terms: int


@lru_cache(maxsize=4096)
def family_of(species: Species, target: Target, row: PoolRow, most: int) -> Family | None:
    """The graph of a family; ``None`` if the sum would have more than ``most`` terms.

    Counted are the chances of the calls (laws times calls, more for more cells), and for every
    animal that is summed out the entries of its table times the products of polynomials. The work
    before that is known is at most ``MOST_PAIR_STATES`` chances for each distinct pair of
    statements; the table of a step takes ``most`` floats for each way at the most.
    """
    pairs = row.of_pairs()
    sexes = [tuple(dict.fromkeys(cell.sex for cell in pair.cells)) or (None,) for pair in pairs]
    mated = tuple((pair.sire, pair.dam, own) for pair, own in zip(pairs, sexes, strict=True))
    graph = _graph_of(species, target, row.sires, row.dams, mated)
    if graph is None:
        return None
    ties, laws, priors = graph
    calls = [_calls(pair, own) for pair, own in zip(pairs, sexes, strict=True)]
    edges = tuple(map(_Edge, ties, laws, calls))
    n_terms = sum(_call_terms(edge, target.n_cells) for edge in edges)
    if n_terms > most:
        return None
    steps = elimination(
        [len(prior) for prior in priors], [(tie.one, tie.other) for tie in ties], most=most
    )
    if steps is None:
        return None
    n_terms += _step_terms(priors, edges, steps)
    if n_terms > most:
        return None
    return Family(edges=edges, priors=priors, steps=steps, n_terms=n_terms)


@lru_cache(maxsize=1024)
def _graph_of(
    species: Species,
    target: Target,
    sires: tuple[ParentStatement, ...],
    dams: tuple[ParentStatement, ...],
    mated: tuple[tuple[int, int, tuple[Sex | None, ...]], ...],
) -> tuple[list[Tie], list[Floats], tuple[Floats, ...]] | None:
    """Ties, laws and priors of a family whatever hatched; ``None`` for a pair of too many states.

    Remembered, because a verdict asks of the same family with other hatchlings as well.
    """
    animals = [animal_states(species, target, one) for one in (*sires, *dams)]
    n_sires = len(sires)
    if any(
        len(animals[sire].states) * len(animals[n_sires + dam].states) > MOST_PAIR_STATES
        for sire, dam, _sexes in mated
    ):
        return None
    found = [
        pair_laws(species, target, sires[sire], dams[dam], sexes) for sire, dam, sexes in mated
    ]
    ties = [
        Tie(sire, n_sires + dam, one.numbers)
        for (sire, dam, _sexes), one in zip(mated, found, strict=True)
    ]
    groups = alike([len(one.states) for one in animals], ties)
    priors = tuple(_prior(one, numbers) for one, numbers in zip(animals, groups, strict=True))
    return merged(ties, groups), [one.laws for one in found], priors


def _calls(
    pair: PairCells, sexes: Sequence[Sex | None]
) -> tuple[tuple[int, tuple[int, ...], int], ...]:
    return tuple((sexes.index(one.sex), one.cells, one.count) for one in pair.cells if one.count)


def _prior(animal: AnimalStates, numbers: Numbers) -> Floats:
    found = np.zeros((int(numbers.max()) + 1, animal.n_doubtful + 1))
    for state, number in zip(animal.states, numbers, strict=True):
        found[number, state.n_missing] += state.weight
    return found


def _call_terms(edge: _Edge, n_cells: int) -> int:
    each = _TERMS_OF_A_LOGARITHM + n_cells // _CELLS_PER_TERM
    n_sexes, n_laws = int(edge.laws.shape[0]), int(edge.laws.shape[1])
    return n_laws * (len(edge.calls) + n_sexes) * each + int(edge.tie.table.size)


def _step_terms(priors: Sequence[Floats], edges: Sequence[_Edge], steps: Sequence[Step]) -> int:
    """Terms of all steps: the walk of ``family_sum`` with lengths in place of polynomials."""
    degrees: dict[int, list[int]] = {step.animal: [] for step in steps}
    n_ties = dict.fromkeys(degrees, 0)
    for edge in edges:
        for animal in (edge.tie.one, edge.tie.other):
            if animal in n_ties:
                n_ties[animal] += 1
    length = sum(
        int(prior.shape[1]) - 1 for place, prior in enumerate(priors) if place not in degrees
    )
    total = length * length + 1
    n_left = length + 1
    ready = {step.animal: place for place, step in enumerate(steps)}
    for step in steps:
        here = int(priors[step.animal].shape[1])
        n = step.n_states
        total += n * (n_ties[step.animal] + here)
        for degree in degrees[step.animal]:
            total += n * here * (degree + 1)
            here += degree
        if step.mates:
            first = min(step.mates, key=ready.__getitem__)
            degrees[first].append(here - 1)
        else:
            total += here * n_left
            n_left += here - 1
    return total


# --- the sum itself ---------------------------------------------------------------------------


@dataclass(frozen=True, eq=False)
class _Message:
    """A table over the states of some animals, of polynomials in the number of missing genes.

    The value is ``exp(scale) * coefficients``; ``scale`` has the shape (states of each animal of
    ``about``, in order, ways), ``coefficients`` one axis more. One state may be less likely than
    another by any factor; coefficients of one state are told apart down to the smallest float.
    """

    about: tuple[int, ...]
    scale: Floats
    coefficients: Floats

    def at(self, animal: int, state: int) -> _Message:
        """With the state of one animal given."""
        if animal not in self.about:
            return self
        axis = self.about.index(animal)
        return _Message(
            about=tuple(one for one in self.about if one != animal),
            scale=np.take(self.scale, [state], axis=axis).squeeze(axis),
            coefficients=np.take(self.coefficients, [state], axis=axis).squeeze(axis),
        )

    def over(self, animals: Sequence[int]) -> tuple[Floats, Floats]:
        """Scale and coefficients with an axis for each of these animals, of length 1 if new."""
        index = tuple(slice(None) if one in self.about else None for one in animals)
        return self.scale[index], self.coefficients[index]


def family_sum(family: Family, maps: Floats) -> tuple[Floats, Floats]:
    """Logarithm of the scale, shape (ways), and coefficients by number of missing genes.

    ``maps`` as in ``Distortions``. Coefficients are scaled so that the largest of a way is 1.
    """
    n_ways = len(maps)
    gone = {step.animal: place for place, step in enumerate(family.steps)}
    waiting: dict[int, list[_Message]] = {animal: [] for animal in gone}
    scale, coefficients = np.zeros(n_ways), np.ones((n_ways, 1))
    for edge in family.edges:
        message = _edge_message(edge, maps, gone)
        if message.about:
            waiting[min(message.about, key=gone.__getitem__)].append(message)
        else:
            scale = scale + message.scale
    for place, prior in enumerate(family.priors):
        if place not in gone:
            coefficients = _times(coefficients, prior)
    for step in family.steps:
        message = _summed_out(step, family.priors[step.animal], waiting.pop(step.animal), n_ways)
        if message.about:
            waiting[min(message.about, key=gone.__getitem__)].append(message)
        else:
            scale = scale + message.scale
            coefficients = _times(coefficients, message.coefficients)
    return _scaled(scale, coefficients)


def _edge_message(edge: _Edge, maps: Floats, gone: Mapping[int, int]) -> _Message:
    """Log-likelihood of a pair's hatchlings over the states of its parents."""
    logs = np.zeros((edge.laws.shape[1], len(maps)))
    wholes = [laws @ maps.sum(axis=1).T for laws in edge.laws]
    with np.errstate(divide="ignore", invalid="ignore"):
        for place, cells, count in edge.calls:
            seen = edge.laws[place] @ maps[:, list(cells), :].sum(axis=1).T
            logs += count * np.log(np.where(wholes[place] > 0, seen / wholes[place], 0.0))
    table = edge.tie.table
    about = (edge.tie.one, edge.tie.other)
    for axis in (1, 0):
        if about[axis] not in gone:
            table = np.take(table, [0], axis=axis).squeeze(axis)
    scale = logs[table]
    return _Message(
        about=tuple(one for one in about if one in gone),
        scale=scale,
        coefficients=np.ones((*scale.shape, 1)),
    )


def _summed_out(step: Step, prior: Floats, messages: Sequence[_Message], n_ways: int) -> _Message:
    """The sum over the states of one animal, state by state to keep the tables small."""
    shape = (1,) * len(step.mates)
    scale: Floats = np.full((*shape, n_ways), -np.inf)
    coefficients: Floats = np.zeros((*shape, n_ways, 1))
    for state, weights in enumerate(prior):
        here_scale: Floats = np.zeros((*shape, n_ways))
        here: Floats = np.broadcast_to(weights, (*shape, n_ways, len(weights)))
        for message in messages:
            given_scale, given = message.at(step.animal, state).over(step.mates)
            here_scale = here_scale + given_scale
            here = here * given if given.shape[-1] == 1 else _times(here, given)
        scale, coefficients = _scaled(*_added((scale, coefficients), (here_scale, here)))
    return _Message(about=step.mates, scale=scale, coefficients=coefficients)


def _times(one: Floats, other: Floats) -> Floats:
    """Product of polynomials along the last axis."""
    longer, shorter = (one, other) if one.shape[-1] >= other.shape[-1] else (other, one)
    n = longer.shape[-1]
    shape = np.broadcast_shapes(longer.shape[:-1], shorter.shape[:-1])
    found = np.zeros((*shape, n + shorter.shape[-1] - 1))
    for k in range(shorter.shape[-1]):
        found[..., k : k + n] += longer * shorter[..., k : k + 1]
    return found


def _added(one: tuple[Floats, Floats], other: tuple[Floats, Floats]) -> tuple[Floats, Floats]:
    scale = np.maximum(one[0], other[0])
    safe = np.where(np.isfinite(scale), scale, 0.0)
    first = one[1] * np.exp(one[0] - safe)[..., None]
    second = other[1] * np.exp(other[0] - safe)[..., None]
    n = max(first.shape[-1], second.shape[-1])
    found = np.zeros((*np.broadcast_shapes(first.shape[:-1], second.shape[:-1]), n))
    found[..., : first.shape[-1]] += first
    found[..., : second.shape[-1]] += second
    return scale, found


def _scaled(scale: Floats, coefficients: Floats) -> tuple[Floats, Floats]:
    """The largest coefficient 1; nothing at all is minus infinity."""
    largest = coefficients.max(axis=-1)
    with np.errstate(divide="ignore"):
        logs = np.log(largest)
    safe = np.where(largest > 0, largest, 1.0)
    return scale + np.where(np.isfinite(scale), logs, 0.0), coefficients / safe[..., None]
