"""Targets and pool rows, between their stored form and the genetics."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

from genetics.model.species import Sex, Species
from genetics.model.statement import StatedGenes
from genetics.notation.looks import LocusLook, ReadLook
from genetics.notation.writer import canonical_look
from genetics.pool.cells import CellCount
from genetics.pool.pool import (
    ClutchCounts,
    Contribution,
    FamilyClutch,
    PoolRow,
    family_contributions,
    target_row,
)
from genetics.pool.target import Factor, Target, locus_factors
from genetics.pool.versions import aligned
from registry.catalogue.bridge import LoadedSpecies
from registry.pairings.bridge.stored import statement_from_json, statement_to_json


@dataclass(frozen=True, slots=True)
class StoredTarget:
    """A target as its row holds it."""

    key: str
    combination: str
    n_factors: int
    factors: list[list[str]]


@dataclass(frozen=True, slots=True)
class StoredContribution:
    """A family's contribution to one target, ready to be written."""

    target: StoredTarget
    digest: str
    content: str
    contribution: Contribution


@dataclass(frozen=True, eq=False)
class StoredRow:
    """A pool row as read: the species of its catalogue version and the genetics' value."""

    loaded: LoadedSpecies
    row: PoolRow


@dataclass(frozen=True, slots=True)
class WeightedRow:
    """A pool row with the number of families that are just so."""

    stored: StoredRow
    n_families: int


Pools = list[tuple[Species, Target, Mapping[PoolRow, int]]]


@lru_cache(maxsize=65536)
def combination_text(species: Species, target: Target) -> str:
    """A combination in canonical text, which reads back to the same combination."""
    looks = tuple(LocusLook(one.locus, one.pairs, one.text) for one in target.factors)
    return canonical_look(species, ReadLook(looks=looks, hets=StatedGenes()))


def stored_target(species: Species, target: Target) -> StoredTarget:
    """A target as stored."""
    return StoredTarget(
        key=target.key,
        combination=combination_text(species, target),
        n_factors=target.n_factors,
        factors=[[one.locus, one.text, one.look] for one in target.factors],
    )


def target_from_stored(species: Species, factors: Iterable[Sequence[str]]) -> Target | None:
    """A target from its stored factors; None if the species file no longer has one of them."""
    found: list[Factor] = []
    for locus, text, _look in factors:
        known = species.by_key.get(locus)
        factor = known and next((one for one in locus_factors(known) if one.text == text), None)
        if not factor:
            return None
        found.append(factor)
    return Target(factors=tuple(found))


def family_stored(
    loaded: LoadedSpecies, family: Sequence[FamilyClutch]
) -> tuple[StoredContribution, ...]:
    """Everything a family group contributes, in order of target key."""
    found = []
    for one in family_contributions(family):
        content = json.dumps(row_to_json(one.row), sort_keys=True, separators=(",", ":"))
        digest = hashlib.sha256(f"{loaded.version_id}:{content}".encode()).hexdigest()
        found.append(
            StoredContribution(
                target=stored_target(loaded.species, one.target),
                digest=digest,
                content=content,
                contribution=one,
            )
        )
    return tuple(sorted(found, key=lambda one: one.target.key))


def row_to_json(row: PoolRow) -> dict[str, Any]:
    """A pool row as stored.

    Parents, and for each clutch ``[sire, dam, [[sex, cells, n], ...], eggs died, declared]``.
    """
    return {
        "sires": [statement_to_json(one) for one in row.sires],
        "dams": [statement_to_json(one) for one in row.dams],
        "clutches": [
            [
                one.sire,
                one.dam,
                [[cell.sex and str(cell.sex), list(cell.cells), cell.count] for cell in one.cells],
                one.n_died,
                one.declared,
            ]
            for one in row.clutches
        ],
    }


def row_from_json(species: Species, stored: Mapping[str, Any]) -> PoolRow:
    """A pool row from its stored form."""
    return PoolRow(
        sires=tuple(statement_from_json(species, one) for one in stored["sires"]),
        dams=tuple(statement_from_json(species, one) for one in stored["dams"]),
        clutches=tuple(
            ClutchCounts(
                sire=sire,
                dam=dam,
                cells=tuple(
                    CellCount(sex=sex and Sex(sex), cells=tuple(cells), count=count)
                    for sex, cells, count in counts
                ),
                n_died=n_died,
                declared=declared,
            )
            for sire, dam, counts, n_died, declared in stored["clutches"]
        ),
    )


def stored_row(loaded: LoadedSpecies, content: Mapping[str, Any]) -> StoredRow:
    """A pool row from its stored form, to be kept by its digest: rows never change."""
    return StoredRow(loaded=loaded, row=row_from_json(loaded.species, content))


def pools_of(factors: Sequence[Sequence[str]], rows: Iterable[WeightedRow]) -> Pools:
    """Rows of one target by the catalogue version they were reported under, in the same cells."""
    found: dict[int, tuple[Species, Target, dict[PoolRow, int]]] = {}
    for one in rows:
        loaded = one.stored.loaded
        if loaded.version_id not in found:
            target = target_from_stored(loaded.species, factors)
            if target is None:
                continue
            found[loaded.version_id] = (loaded.species, target, {})
        pool = found[loaded.version_id][2]
        pool[one.stored.row] = pool.get(one.stored.row, 0) + one.n_families
    return aligned(list(found.values()))


def family_row(family: Sequence[FamilyClutch], target: Target) -> PoolRow | None:
    """The pool row of a family for one target; None if no clutch of it informs the target."""
    return target_row(family, target)
