"""Targets: what is watched. One to three factors, each a visible state at one locus."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import lru_cache
from itertools import accumulate, pairwise, product
from math import prod
from typing import TYPE_CHECKING

from genetics.cross.offspring import Pairing, Wanted, chance_law, mean_chance
from genetics.errors import (
    ContradictoryStatementError,
    NotVisibleError,
    TooManyFactorsError,
    listed,
)
from genetics.model.locus import ABSENT, WILD, WILD_LOOK, AllelePair, Locus
from genetics.model.species import Species

if TYPE_CHECKING:
    from genetics.model.linkage import LinkageGroup

TWO_BITS = 2
MOST_FACTORS = 3
"""Factors of the largest target that is pooled."""

MOST_LOOKS_NAMED = 2
"""Other looks of a locus that the name of a cell lists."""


@dataclass(frozen=True, slots=True)
class Factor:
    """A visible state at one locus, as it is asked for.

    ``look`` is the wording that is seen and ``pairs`` the genotypes that count. Usually they are
    all genotypes with this look. Where several super forms or compounds share a look, each of
    them is a factor as well; it is informed only by pairings whose hatchlings of this look can be
    nothing else (``needs_identity``).

    ``alleles`` are the two genes of a compound, which counts as two factors that share a locus.
    ``has_other_forms`` says that its genes can show in another way, in one copy or two or beside
    another allele: hatchlings that do so tell what the parents carry.
    """

    locus: str
    text: str
    look: str
    pairs: frozenset[AllelePair]
    alleles: tuple[str, ...] = ()
    needs_identity: bool = False
    has_other_forms: bool = False

    @property
    def n_factors(self) -> int:
        return max(1, len(self.alleles))

    @property
    def n_bits(self) -> int:
        """Bits of a cell number that this factor takes; see ``look_bits``."""
        return TWO_BITS if self.alleles or self.has_other_forms else 1


@dataclass(frozen=True, slots=True)
class Target:
    """Factors in the order of the species file, one at a locus. Build it with ``target_of``."""

    factors: tuple[Factor, ...]

    @property
    def n_factors(self) -> int:
        return sum(factor.n_factors for factor in self.factors)

    @property
    def loci(self) -> tuple[str, ...]:
        return tuple(factor.locus for factor in self.factors)

    @property
    def shifts(self) -> tuple[int, ...]:
        """Place of each factor's lowest bit in a cell number."""
        return tuple(accumulate((one.n_bits for one in self.factors[:-1]), initial=0))

    @property
    def n_cells(self) -> int:
        """Cell numbers run from 0, nothing of it, to ``n_cells - 1``, the hit cell."""
        return 1 << sum(one.n_bits for one in self.factors)

    @property
    def possible_cells(self) -> tuple[int, ...]:
        """Cell numbers that a hatchling can have, in order."""
        levels = [
            [level << shift for level in range(1 << one.n_bits) if one.alleles or level != TWO_BITS]
            for one, shift in zip(self.factors, self.shifts, strict=True)
        ]
        return tuple(sorted(sum(chosen) for chosen in product(*levels)))

    @property
    def part_masks(self) -> tuple[tuple[str, int], ...]:
        """Single genes of the target and the bits that say that they show."""
        found: list[tuple[str, int]] = []
        for one, shift in zip(self.factors, self.shifts, strict=True):
            if one.alleles:
                found += [(gene, 1 << shift + bit) for bit, gene in enumerate(one.alleles)]
            else:
                found.append((one.text, ((1 << one.n_bits) - 1) << shift))
        return tuple(found)

    @property
    def key(self) -> str:
        """Unique in the species, whatever words the genes consist of."""
        return " | ".join(f"{factor.locus}: {factor.text}" for factor in self.factors)

    @property
    def wanted(self) -> Wanted:
        return {factor.locus: factor.pairs for factor in self.factors}

    @property
    def genes(self) -> tuple[str, ...]:
        """Every gene that takes part in one of the accepted genotypes, once each."""
        named = (
            allele
            for factor in self.factors
            for pair in sorted(factor.pairs)
            for allele in pair
            if allele not in {WILD, ABSENT}
        )
        return tuple(dict.fromkeys(named))


def target_of(species: Species, factors: Sequence[Factor]) -> Target:
    """A target of these factors.

    Raises
    ------
    NotVisibleError
        No factor at all.
    ContradictoryStatementError
        Two factors at one locus: an animal has one look there.
    TooManyFactorsError
        More than ``MOST_FACTORS``, a compound counted twice.
    """
    if not factors:
        raise NotVisibleError(
            "A combination needs at least one gene that shows; a normal look is not watched."
        )
    ordered = tuple(sorted(factors, key=lambda factor: species.place_of[factor.locus]))
    for one, other in pairwise(ordered):
        if one.locus == other.locus:
            raise ContradictoryStatementError(
                f"{one.text} and {other.text} are looks of one locus ({one.locus}); an animal "
                "shows one of them.",
                locus=one.locus,
            )
    target = Target(factors=ordered)
    if target.n_factors > MOST_FACTORS:
        parts = [factor.text for factor in ordered]
        raise TooManyFactorsError(
            f"Combinations of at most {MOST_FACTORS} genes are pooled, and {', '.join(parts)} "
            f"make {target.n_factors} (a compound counts as two). Ask for a part of it.",
            genes=parts,
            most=MOST_FACTORS,
        )
    return target


@lru_cache(maxsize=4096)
def locus_factors(locus: Locus) -> tuple[Factor, ...]:
    """Every factor of a locus, in its order of alleles."""
    found: list[Factor] = []
    for look, pairs in locus.states.items():
        if look == WILD_LOOK:
            continue
        forms = locus.ordered(pair for pair in pairs if pair[1] not in {WILD, ABSENT})
        single = [pair for pair in pairs if pair[1] in {WILD, ABSENT}]
        if look in locus.by_name or single or len(forms) > 1:
            found.append(Factor(locus=locus.key, text=look, look=look, pairs=pairs))
        else:
            found.append(_form_factor(locus, look, forms[0], needs_identity=False))
        if len(forms) > 1 or (len(forms) == 1 and single and forms[0][0] != forms[0][1]):
            found += [
                _form_factor(locus, look, pair, needs_identity=True)
                for pair in forms
                if not (pair[0] == pair[1] and look == pair[0])
            ]
    every = [replace(one, has_other_forms=_has_other_forms(locus, one)) for one in found]
    return tuple(sorted(every, key=lambda factor: _rank(locus, factor)))


def _has_other_forms(locus: Locus, factor: Factor) -> bool:
    """Whether a gene of the factor can be seen in another look of its locus."""
    genes = {allele for pair in factor.pairs for allele in pair} - {WILD, ABSENT}
    return not factor.alleles and any(
        look not in {WILD_LOOK, factor.look} and any(genes & set(pair) for pair in pairs)
        for look, pairs in locus.states.items()
    )


def _form_factor(locus: Locus, look: str, pair: AllelePair, *, needs_identity: bool) -> Factor:
    """A super form or compound: by its look's own name, or by its genes if the look is shared."""
    one, other = pair
    by_genes = f"Super {one}" if one == other else f"{one} {other}"
    return Factor(
        locus=locus.key,
        text=by_genes if needs_identity else look,
        look=look,
        pairs=frozenset({pair}),
        alleles=() if one == other else pair,
        needs_identity=needs_identity,
    )


def _rank(locus: Locus, factor: Factor) -> tuple[int, ...]:
    first = locus.ordered(factor.pairs)[0]
    return (len(factor.pairs) * -1, locus.rank[first[0]], locus.rank[first[1]])


def factor_for(locus: Locus, pairs: frozenset[AllelePair]) -> Factor:
    """The factor that accepts just these genotypes.

    Raises
    ------
    NotVisibleError
        The genotypes are no visible state of their own: two copies of a dominant gene.
    """
    for factor in locus_factors(locus):
        if factor.pairs == pairs:
            return factor
    text = " or ".join(" ".join(pair) for pair in locus.ordered(pairs))
    raise NotVisibleError(
        f"{text} at {locus.key} can not be told by its look from other genotypes there, so it is "
        "not watched. Ask for the look.",
        locus=locus.key,
    )


def look_bits(species: Species, factor: Factor, look: str) -> int:
    """Which parts of a factor a look at its locus shows, as bits; all of them for the factor.

    Of a compound, bit 0 stands for its first gene without the other, bit 1 for its second without
    the first. Of a factor with other forms, bit 0 alone stands for any other look at the locus.
    """
    if look == factor.look:
        return (1 << factor.n_bits) - 1
    if look == WILD_LOOK:
        return 0
    if not factor.alleles:
        return 1 if factor.has_other_forms else 0
    locus = species.by_key[factor.locus]
    for bit, allele in enumerate(factor.alleles):
        if look in {locus.look((allele, allele)), locus.look((allele, WILD))}:
            return 1 << bit
    return 0


def possible_looks(pairing: Pairing, target: Target) -> dict[str, frozenset[str]]:
    """Looks that a pairing can give at each locus of a target."""
    possible = _possible_pairs(pairing)
    return {
        key: frozenset(
            pairing.species.by_key[key].look(pair) for pair in possible.get(key, {(WILD, WILD)})
        )
        for key in target.loci
    }


def cell_names(
    species: Species, target: Target, looks: Mapping[str, Collection[str]]
) -> tuple[str, ...]:
    """What each cell of a target shows, by cell number, true whatever else an animal shows.

    Parameters
    ----------
    looks
        Looks at each locus of the target that can be meant, such as those that the parents give.
    """
    names = []
    for cell in range(target.n_cells):
        parts = []
        for factor, shift in zip(target.factors, target.shifts, strict=True):
            bits = cell >> shift & ((1 << factor.n_bits) - 1)
            if factor.alleles:
                parts += [gene for bit, gene in enumerate(factor.alleles) if bits >> bit & 1]
            elif bits == (1 << factor.n_bits) - 1:
                parts.append(factor.text)
            elif bits:
                parts.append(_other_form(species.by_key[factor.locus], factor, looks))
        names.append(" + ".join(parts) or _nothing_of(species, target))
    return tuple(names)


def _other_form(locus: Locus, factor: Factor, looks: Mapping[str, Collection[str]]) -> str:
    """The look that is seen instead of a factor at its locus, as far as the cell tells it."""
    every = [look for look in locus.states if look not in {WILD_LOOK, factor.look}]
    others = [look for look in every if look in looks[locus.key]] or every
    if len(others) <= MOST_LOOKS_NAMED:
        return listed(others)
    genes = {allele for pair in factor.pairs for allele in pair} - {WILD, ABSENT}
    if all(genes & set(pair) for look in others for pair in locus.states[look]):
        return f"another form of {factor.text}"
    return f"another look of the series of {factor.text}"


def _nothing_of(species: Species, target: Target) -> str:
    """A hatchling that shows nothing of a target; it need not look normal.

    Where a series has further alleles, one gene of a compound may show beside one of those.
    """
    names: list[str] = []
    for one in target.factors:
        is_all = len(species.by_key[one.locus].alleles) == len(one.alleles)
        names += one.alleles if is_all else (one.text,)
    if len(names) == 1:
        return f"a hatchling without {names[0]}"
    if len(names) == 2:  # noqa: PLR2004 - two have a wording of their own
        return f"a hatchling with neither {names[0]} nor {names[1]}"
    return f"a hatchling with none of {listed(names, joiner='and')}"


def is_informed(pairing: Pairing, target: Target) -> bool:
    """Whether a clutch of this pairing says something about the target.

    The hit cell's chance, for the parents as stated, lies strictly between 0 and 1, and what
    counts as a hit can be told from everything else the parents can throw.
    """
    possible = _possible_pairs(pairing)
    if not all(_identifiable(pairing.species, f, possible.get(f.locus)) for f in target.factors):
        return False
    return 0 < mean_chance(chance_law(pairing, target.wanted)) < 1


def _possible_pairs(pairing: Pairing) -> Mapping[str, frozenset[AllelePair]]:
    found: dict[str, set[AllelePair]] = {}
    for group in pairing.groups_in_play():
        for offspring, chance in pairing.mean_offspring(group).items():
            if chance:
                for key, pair in zip(group.loci, offspring.pairs, strict=True):
                    found.setdefault(key, set()).add(pair)
    return {key: frozenset(pairs) for key, pairs in found.items()}


def _identifiable(species: Species, factor: Factor, possible: frozenset[AllelePair] | None) -> bool:
    if not possible or not possible & factor.pairs:
        return False
    if not factor.needs_identity:
        return True
    return possible & species.by_key[factor.locus].states[factor.look] <= factor.pairs


def informed_targets(pairing: Pairing) -> tuple[Target, ...]:
    """Every target of up to three factors that a clutch of this pairing informs.

    Factors that every hatchling must show stay in a target with others; a target of nothing but
    such factors is not informed.
    """
    species = pairing.species
    possible = _possible_pairs(pairing)
    per_locus: list[list[tuple[Factor, Fraction]]] = []
    for key in sorted(possible, key=species.place_of.__getitem__):
        factors = [
            (factor, mean_chance(chance_law(pairing, {key: factor.pairs})))
            for factor in locus_factors(species.by_key[key])
            if _identifiable(species, factor, possible[key])
        ]
        per_locus.append([(factor, chance) for factor, chance in factors if chance])
    return tuple(
        Target(factors=tuple(factor for factor, _chance in chosen))
        for chosen in _choices(per_locus, 0, MOST_FACTORS)
        if chosen and 0 < _joint_mean(pairing, chosen) < 1
    )


def _choices(
    per_locus: Sequence[Sequence[tuple[Factor, Fraction]]], start: int, room: int
) -> Iterator[tuple[tuple[Factor, Fraction], ...]]:
    """Every choice of factors of different loci from ``start`` on that fits in ``room``."""
    yield ()
    for position in range(start, len(per_locus)):
        for item in per_locus[position]:
            if item[0].n_factors <= room:
                for rest in _choices(per_locus, position + 1, room - item[0].n_factors):
                    yield (item, *rest)


def _joint_mean(pairing: Pairing, chosen: Sequence[tuple[Factor, Fraction]]) -> Fraction:
    """Mean chance of all factors: a product, unless some share a linkage group."""
    groups: list[LinkageGroup] = [pairing.species.group_of[f.locus] for f, _chance in chosen]
    if len(set(groups)) == len(groups):
        return prod((chance for _factor, chance in chosen), start=Fraction(1))
    return mean_chance(chance_law(pairing, {f.locus: f.pairs for f, _chance in chosen}))
