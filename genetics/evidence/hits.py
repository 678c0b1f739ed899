"""From pool rows to the law of the number of hits, with what the parents share taken in."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache
from itertools import product
from math import comb, prod
from typing import TYPE_CHECKING

from genetics.cross.offspring import Pairing, chance_law, group_chance, mean_chance
from genetics.evidence.tail import HitLaw, TailResult, pooled_tail
from genetics.model.belief import Belief, HaplotypePair, belief_of
from genetics.pool.cells import n_hits

if TYPE_CHECKING:
    from genetics.model.linkage import LinkageGroup
    from genetics.model.species import Sex, Species
    from genetics.pool.pool import PairCells, PoolRow
    from genetics.pool.target import Target

MOST_LATENT_STATES = 20_000
"""Largest number of latent states of one family that is summed over exactly."""

Polynomial = tuple[Fraction, ...]
"""Chance of 0, 1, 2 ... hits."""


@dataclass(frozen=True, slots=True)
class RowHits:
    """What one pool row brings to the pooled tail.

    Pairs with a single latent state are in ``hatchlings_by_chance``; a family with more has its
    own ``law``. ``cut`` says that the family had more than ``MOST_LATENT_STATES`` states, and its
    pairs were taken as if they shared no animal.
    """

    hatchlings_by_chance: tuple[tuple[Fraction, int], ...]
    laws: tuple[HitLaw, ...]
    expected: Fraction
    n_certain: int
    n_possible: int
    n_hatchlings: int
    cut: bool


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
    expected, certain, possible, hatchlings, cut = Fraction(0), 0, 0, 0, 0
    for species, target, rows in pools:
        for row, times in rows.items():
            hits = row_hits(species, target, row)
            for chance, n in hits.hatchlings_by_chance:
                by_chance[chance] += n * times
            for law in hits.laws:
                laws[law] += times
            expected += hits.expected * times
            certain += hits.n_certain * times
            possible += hits.n_possible * times
            hatchlings += hits.n_hatchlings * times
            cut += hits.cut * times
    return PoolHits(
        tail=pooled_tail(hits=possible, hatchlings_by_chance=by_chance, laws=laws),
        expected=expected,
        n_hits=certain,
        n_hits_possible=possible,
        n_hatchlings=hatchlings,
        n_cut=cut,
    )


@lru_cache(maxsize=65536)
def row_hits(species: Species, target: Target, row: PoolRow) -> RowHits:
    """The law of hits of one family, its expectation (exact) and its counts."""
    family = _Family.of(species, target, row)
    pairs = row.of_pairs()
    by_chance: Counter[Fraction] = Counter()
    laws: list[HitLaw] = []
    cut = False
    if family.n_states() == 1:
        for pair in pairs:
            sire, dam = family.sires[pair.sire][0][0], family.dams[pair.dam][0][0]
            for chance, n in family.strata(pair, sire, dam):
                by_chance[chance] += n
        laws += [_binomial_law(chance, by_chance.pop(chance)) for chance in _sure(by_chance)]
    elif family.n_states() <= MOST_LATENT_STATES:
        laws.append(HitLaw(chances=family.law(pairs)))
    else:
        cut = True
        laws += [HitLaw(chances=family.law((pair,))) for pair in pairs]
    counts = [cell for pair in pairs for cell in pair.cells]
    certain, possible = n_hits(target, counts)
    return RowHits(
        hatchlings_by_chance=tuple(sorted(by_chance.items())),
        laws=tuple(laws),
        expected=family.expected(pairs),
        n_certain=certain,
        n_possible=possible,
        n_hatchlings=sum(cell.count for cell in counts),
        cut=cut,
    )


State = tuple[HaplotypePair, ...]
"""What one animal really carries, by linkage group of the target."""


@dataclass(frozen=True, eq=False)
class _Family:
    species: Species
    target: Target
    groups: tuple[LinkageGroup, ...]
    beliefs: tuple[tuple[Belief, ...], tuple[Belief, ...]]
    sires: tuple[tuple[tuple[State, Fraction], ...], ...]
    dams: tuple[tuple[tuple[State, Fraction], ...], ...]

    @classmethod
    def of(cls, species: Species, target: Target, row: PoolRow) -> _Family:
        groups = tuple(
            group for group in species.groups if any(key in target.loci for key in group.loci)
        )
        sires = tuple(belief_of(species, statement) for statement in row.sires)
        dams = tuple(belief_of(species, statement) for statement in row.dams)

        def states(belief: Belief) -> tuple[tuple[State, Fraction], ...]:
            return tuple(
                (
                    tuple(pair for pair, _chance in combination),
                    prod((chance for _pair, chance in combination), start=Fraction(1)),
                )
                for combination in product(*(belief.states(species, group) for group in groups))
            )

        return cls(
            species=species,
            target=target,
            groups=groups,
            beliefs=(sires, dams),
            sires=tuple(states(belief) for belief in sires),
            dams=tuple(states(belief) for belief in dams),
        )

    def n_states(self) -> int:
        """Terms of the sum over latent states: all of the sires, times those of each dam."""
        return prod(len(states) for states in self.sires) * max(map(len, self.dams))

    def strata(self, pair: PairCells, sire: State, dam: State) -> list[tuple[Fraction, int]]:
        """Hatchlings of a pair by their chance of a hit, for parents that carry just this."""
        by_sex: Counter[Sex | None] = Counter()
        for cell in pair.cells:
            by_sex[cell.sex] += cell.count
        return [
            (
                prod(
                    (
                        group_chance(
                            self.species, group, sire[place], dam[place], self.target.wanted, sex
                        )
                        for place, group in enumerate(self.groups)
                    ),
                    start=Fraction(1),
                ),
                n,
            )
            for sex, n in by_sex.items()
        ]

    def law(self, pairs: Sequence[PairCells]) -> Polynomial:
        """Law of the hits of these pairs together, exact.

        Given all sires, the dams are independent of each other; so the sum runs over what all
        sires carry and, inside, over each dam by herself.
        """
        used = sorted({pair.sire for pair in pairs})
        total: Polynomial = ()
        for chosen in product(*(self.sires[place] for place in used)):
            sire_states = dict(zip(used, (state for state, _weight in chosen), strict=True))
            weight = prod((chance for _state, chance in chosen), start=Fraction(1))
            law: Polynomial = (weight,)
            for dam in sorted({pair.dam for pair in pairs}):
                hers = [pair for pair in pairs if pair.dam == dam]
                law = _product(law, self._dam_law(dam, hers, sire_states))
            total = _sum(total, law)
        return total

    def _dam_law(
        self, dam: int, pairs: Sequence[PairCells], sire_states: Mapping[int, State]
    ) -> Polynomial:
        total: Polynomial = ()
        for state, weight in self.dams[dam]:
            law: Polynomial = (weight,)
            for pair in pairs:
                for chance, n in self.strata(pair, sire_states[pair.sire], state):
                    law = _product(law, _binomial(chance, n))
            total = _sum(total, law)
        return total

    def expected(self, pairs: Iterable[PairCells]) -> Fraction:
        sires, dams = self.beliefs
        total = Fraction(0)
        for pair in pairs:
            pairing = Pairing(self.species, sires[pair.sire], dams[pair.dam])
            for cell in pair.cells:
                law = chance_law(pairing, self.target.wanted, sex=cell.sex)
                total += mean_chance(law) * cell.count
        return total


def _sure(by_chance: Mapping[Fraction, int]) -> list[Fraction]:
    """Chances of 0 and 1, which one sex of a sex-linked target can have."""
    return [chance for chance in by_chance if chance in {0, 1}]


def _binomial_law(chance: Fraction, n: int) -> HitLaw:
    return HitLaw(chances=_binomial(chance, n))


@lru_cache(maxsize=8192)
def _binomial(chance: Fraction, n: int) -> Polynomial:
    numerator, denominator = chance.numerator, chance.denominator
    rest, whole = denominator - numerator, denominator**n
    return tuple(Fraction(comb(n, k) * numerator**k * rest ** (n - k), whole) for k in range(n + 1))


def _product(one: Polynomial, other: Polynomial) -> Polynomial:
    found = [Fraction(0)] * (len(one) + len(other) - 1)
    for k, chance in enumerate(one):
        if chance:
            for j, factor in enumerate(other):
                found[k + j] += chance * factor
    return tuple(found)


def _sum(one: Polynomial, other: Polynomial) -> Polynomial:
    longer, shorter = (one, other) if len(one) >= len(other) else (other, one)
    return tuple(
        chance + (shorter[k] if k < len(shorter) else 0) for k, chance in enumerate(longer)
    )
