"""The same pool if two genes, independent in the catalogue, sat on one chromosome in repulsion."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from fractions import Fraction
from functools import lru_cache
from typing import TYPE_CHECKING, Final

from genetics.model.belief import ParentStatement, Phase
from genetics.model.linkage import Linkage
from genetics.model.species import Species

if TYPE_CHECKING:
    from genetics.pool.pool import PoolRow
    from genetics.pool.target import Target

FRACTIONS: Final = tuple(Fraction(one, 100) for one in (0, 1, 2, 5, 10, 15, 20, 25, 30, 35, 40))
"""Recombination fractions that are tried."""

TWO: Final = 2


def in_repulsion(
    pools: Sequence[tuple[Species, Target, Mapping[PoolRow, int]]], fraction: Fraction
) -> list[tuple[Species, Target, dict[PoolRow, int]]] | None:
    """The pool with the target's two loci linked at ``fraction`` and all phases repulsion.

    ``None`` where it can not apply: not two genes of two loci that are alone in their linkage
    groups, or no parent that could carry both.
    """
    found = []
    applies = False
    for species, target, rows in pools:
        loci = target.loci
        if len(loci) != TWO or any(_is_tied(species, key) for key in loci):
            return None
        linked = _linked_species(species, (loci[0], loci[1]), fraction)
        changed: dict[PoolRow, int] = {}
        for row, times in rows.items():
            other = replace(
                row,
                sires=tuple(_repelled(species, loci, one) for one in row.sires),
                dams=tuple(_repelled(species, loci, one) for one in row.dams),
            )
            applies = applies or any(one.phases for one in (*other.sires, *other.dams))
            changed[other] = changed.get(other, 0) + times
        found.append((linked, target, changed))
    return found if applies else None


def _is_tied(species: Species, key: str) -> bool:
    group = species.group_of[key]
    return group.is_sex_group or len(group.loci) > 1


@lru_cache(maxsize=512)
def _linked_species(species: Species, loci: tuple[str, str], fraction: Fraction) -> Species:
    return Species(
        key=species.key,
        name=species.name,
        sex_system=species.sex_system,
        loci=species.loci,
        linkages=(*species.linkages, Linkage(loci=loci, recombination_fraction=fraction)),
        nicknames=species.nicknames,
    )


@lru_cache(maxsize=16384)
def _repelled(
    species: Species, loci: tuple[str, ...], statement: ParentStatement
) -> ParentStatement:
    """The parent with one gene of each locus, if it certainly has them, in repulsion.

    A locus with two copies has no phase, and two genes that are known to come from the same of its
    own parents are in coupling.
    """
    carried = []
    for key in loci:
        certain = statement.genes.at(key).certain
        if len(certain) != 1:
            return statement
        carried.append(certain[0])
    one, other = carried
    origins = dict(statement.inherited_from)
    if one in origins and origins[one] == origins.get(other):
        return statement
    return replace(statement, phases=(Phase(genes=(one, other), coupling=False),))
