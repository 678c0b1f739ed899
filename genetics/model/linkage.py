"""Linkage groups: loci that are inherited together, in order along the chromosome."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise
from typing import TYPE_CHECKING

from genetics.errors import SpeciesFaultError

if TYPE_CHECKING:
    from collections.abc import Sequence

    from genetics.model.locus import Locus

HALF = Fraction(1, 2)


@dataclass(frozen=True, slots=True)
class Linkage:
    """Two autosomal loci on one chromosome, with their recombination fraction (0 to 1/2)."""

    loci: tuple[str, str]
    recombination_fraction: Fraction


@dataclass(frozen=True, slots=True)
class LinkageGroup:
    """Loci in order along one chromosome.

    ``fractions[i]`` is the recombination fraction across the gap in front of ``loci[i]``: to the
    locus before it, or, for the first locus of the sex group, to the sex-determining region. The
    first one of an autosomal group has no meaning and is 1/2. Crossing over in one gap does not
    change the next (no interference; Haldane 1919, J. Genetics 8:299).

    ``without_copy`` names the loci of which the Y or W carries none.
    """

    loci: tuple[str, ...]
    fractions: tuple[Fraction, ...]
    is_sex_group: bool = False
    without_copy: frozenset[str] = frozenset()


def linkage_groups(loci: Sequence[Locus], linkages: Sequence[Linkage]) -> tuple[LinkageGroup, ...]:
    """Groups of the loci of a species, in the order of their first locus.

    Raises
    ------
    SpeciesFaultError
        Linkage of an unknown or sex-linked locus, a fraction outside 0 to 1/2, or pairs that do
        not form a line along a chromosome.
    """
    groups = [*_autosomal_groups(loci, linkages)]
    sex_linked = [locus for locus in loci if locus.sex_linkage is not None]
    if sex_linked:
        groups.append(_sex_group(sex_linked))
    place = {locus.key: position for position, locus in enumerate(loci)}
    return tuple(sorted(groups, key=lambda group: min(place[key] for key in group.loci)))


def _autosomal_groups(loci: Sequence[Locus], linkages: Sequence[Linkage]) -> list[LinkageGroup]:
    autosomal = [locus.key for locus in loci if locus.sex_linkage is None]
    neighbours: dict[str, dict[str, Fraction]] = {key: {} for key in autosomal}
    for linkage in linkages:
        one, other = linkage.loci
        if one == other or not {one, other} <= neighbours.keys():
            raise SpeciesFaultError(
                f"Linkage needs two different autosomal loci of the species, not {one} and {other}."
            )
        if not 0 <= linkage.recombination_fraction <= HALF:
            raise SpeciesFaultError(
                f"The recombination fraction of {one} and {other} must lie from 0 to 1/2, "
                f"not at {linkage.recombination_fraction}."
            )
        neighbours[one][other] = neighbours[other][one] = linkage.recombination_fraction
    groups, seen = [], set[str]()
    for key in autosomal:
        if key not in seen:
            line = _line_through(key, neighbours)
            seen.update(line)
            fractions = (HALF, *(neighbours[a][b] for a, b in pairwise(line)))
            groups.append(LinkageGroup(loci=tuple(line), fractions=fractions))
    return groups


def _line_through(key: str, neighbours: dict[str, dict[str, Fraction]]) -> list[str]:
    """All loci linked with ``key``, from one end of the line to the other."""
    component, waiting = {key}, [key]
    while waiting:
        for other in neighbours[waiting.pop()]:
            if other not in component:
                component.add(other)
                waiting.append(other)
    n_gaps = sum(len(neighbours[one]) for one in component) // 2
    if any(len(neighbours[one]) > 2 for one in component) or n_gaps != len(component) - 1:  # noqa: PLR2004
        raise SpeciesFaultError(
            f"The loci {', '.join(sorted(component))} must form one line: give the linkage of "
            "neighbours only."
        )
    ends = [one for one in neighbours if one in component and len(neighbours[one]) < 2]  # noqa: PLR2004
    line = [ends[0]]
    while len(line) < len(component):
        line.append(next(one for one in neighbours[line[-1]] if one not in line))
    return line


def _sex_group(sex_linked: Sequence[Locus]) -> LinkageGroup:
    """Sex-linked loci by their distance from the sex-determining region, all on one side of it.

    The gap between two of them follows from their two fractions by Haldane's addition rule.
    """
    single = [
        locus.key
        for locus in sex_linked
        if locus.sex_linkage is not None and not locus.sex_linkage.heterogametic_copy
    ]
    if len(single) > 1:
        raise SpeciesFaultError(
            f"{single[0]} and {single[1]} both have no copy on the Y or W; how often they "
            "recombine with each other can not be said in the species file, so only one such "
            "locus is possible."
        )
    distance = {
        locus.key: locus.sex_linkage.recombination_fraction
        for locus in sex_linked
        if locus.sex_linkage is not None
    }
    ordered = sorted(sex_linked, key=lambda locus: distance[locus.key])
    fractions, before = [], Fraction(0)
    for locus in ordered:
        here = distance[locus.key]
        fractions.append(HALF if before == HALF else (here - before) / (1 - 2 * before))
        before = here
    return LinkageGroup(
        loci=tuple(locus.key for locus in ordered),
        fractions=tuple(fractions),
        is_sex_group=True,
        without_copy=frozenset(
            locus.key
            for locus in sex_linked
            if locus.sex_linkage is not None and not locus.sex_linkage.heterogametic_copy
        ),
    )
