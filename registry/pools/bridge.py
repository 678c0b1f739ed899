"""Between stored pools and the genetics: targets, pool rows, assessments."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from genetics.evidence.hits import PoolHits, pool_hits
from genetics.evidence.verdict import state_of
from genetics.model.species import Sex, Species
from genetics.model.statement import StatedGenes
from genetics.notation.looks import LocusLook, ReadLook
from genetics.notation.writer import canonical_look
from genetics.pool.cells import CellCount
from genetics.pool.pool import (
    Contribution,
    FamilyClutch,
    PairCounts,
    PoolRow,
    family_contributions,
)
from genetics.pool.target import Factor, Target, locus_factors
from registry.catalogue.bridge import LoadedSpecies
from registry.pairings.bridge import statement_from_json, statement_to_json


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


@dataclass(frozen=True, slots=True)
class Assessment:
    """What the pool of one target says, ready to be stored."""

    state: str
    n_hatchlings: int
    n_hits: int
    n_hits_possible: int
    expected: float
    p_value: float
    log10_p_value: float
    chance_of_none: float
    n_cut_families: int


NOTHING_REPORTED = Assessment(
    state="no-reports",
    n_hatchlings=0,
    n_hits=0,
    n_hits_possible=0,
    expected=0.0,
    p_value=1.0,
    log10_p_value=0.0,
    chance_of_none=1.0,
    n_cut_families=0,
)


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
    """A pool row as stored: parents, and for each pair ``[sire, dam, [[sex, cells, n], ...]]``."""
    return {
        "sires": [statement_to_json(one) for one in row.sires],
        "dams": [statement_to_json(one) for one in row.dams],
        "pairs": [
            [
                pair.sire,
                pair.dam,
                [[cell.sex and str(cell.sex), list(cell.cells), cell.count] for cell in pair.cells],
            ]
            for pair in row.pairs
        ],
    }


def row_from_json(species: Species, stored: Mapping[str, Any]) -> PoolRow:
    """A pool row from its stored form."""
    return PoolRow(
        sires=tuple(statement_from_json(species, one) for one in stored["sires"]),
        dams=tuple(statement_from_json(species, one) for one in stored["dams"]),
        pairs=tuple(
            PairCounts(
                sire=sire,
                dam=dam,
                cells=tuple(
                    CellCount(sex=sex and Sex(sex), cells=tuple(cells), count=count)
                    for sex, cells, count in counts
                ),
            )
            for sire, dam, counts in stored["pairs"]
        ),
    )


def assessed(
    factors: Sequence[Sequence[str]],
    rows: Sequence[tuple[LoadedSpecies, Mapping[str, Any], int]],
) -> Assessment:
    """State and numbers of one target from its pool rows.

    Each row is computed under the catalogue version that it was reported under.
    """
    by_species: dict[int, tuple[Species, Target, dict[PoolRow, int]]] = {}
    for loaded, content, n_families in rows:
        target = target_from_stored(loaded.species, factors)
        if target is None:
            continue
        pool = by_species.setdefault(loaded.version_id, (loaded.species, target, {}))[2]
        row = row_from_json(loaded.species, content)
        pool[row] = pool.get(row, 0) + n_families
    if not by_species:
        return NOTHING_REPORTED
    return _assessment(pool_hits(list(by_species.values())))


def _assessment(pool: PoolHits) -> Assessment:
    return Assessment(
        state=str(state_of(pool)),
        n_hatchlings=pool.n_hatchlings,
        n_hits=pool.n_hits,
        n_hits_possible=pool.n_hits_possible,
        expected=float(pool.expected),
        p_value=pool.tail.probability,
        log10_p_value=max(pool.tail.log10_probability, -1e300),
        chance_of_none=pool.tail.chance_of_none,
        n_cut_families=pool.n_cut,
    )
