"""Between stored pools and the genetics: targets, pool rows, assessments."""

from __future__ import annotations

import hashlib
import json
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from math import log10
from typing import Any

from genetics.errors import GeneticsError
from genetics.evidence.conditional import specific_evidence
from genetics.evidence.ebh import SIZE_WEIGHTS, discoveries
from genetics.evidence.evalue import WATCH_E_VALUE, EValue, e_value, target_viability
from genetics.evidence.explanations import PRIORS, ExplanationResult, look_alike_prior
from genetics.evidence.hits import PoolHits, pool_hits
from genetics.evidence.likelihood import pool_likelihood
from genetics.evidence.lower_order import (
    Beyond,
    beyond_parts,
    beyond_whole,
    is_part,
    parts_of,
)
from genetics.evidence.missing import is_nothing_missing, why_missing
from genetics.evidence.recovery import LARGEST_PSI, Recovery, recovery_ratio
from genetics.evidence.robustness import declared_only, successes_to_undo, without_top_keeper
from genetics.evidence.verdict import WORK_OF_A_ROW, pool_work, verdict_of
from genetics.model.species import Sex, Species
from genetics.model.statement import StatedGenes
from genetics.notation.looks import LocusLook, ReadLook
from genetics.notation.reader import read_look
from genetics.notation.writer import canonical_look
from genetics.pool.cells import CellCount, cell_of
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
from registry.pairings.bridge import statement_from_json, statement_to_json
from registry.pools.choices import State
from registry.pools.work import Remembered

WATCH_LEVEL = float(WATCH_E_VALUE)
"""E-value from which a combination is on watch."""


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
    """What the pool of one target says by itself, ready to be stored.

    ``reason`` is the likeliest explanation, with the number ``of`` those that can apply; made
    only where the evidence is near a flag. ``work`` is what all of it took, counted.
    """

    state: str
    n_hatchlings: int
    n_hits: int
    n_hits_possible: int
    expected: float
    p_value: float
    log10_p_value: float
    chance_of_none: float
    n_cut_families: int
    log10_e_value: float
    more_hatchlings: int | None
    reason: dict[str, Any] | None
    work: int


NOTHING_REPORTED = Assessment(
    state=str(State.NO_REPORTS),
    n_hatchlings=0,
    n_hits=0,
    n_hits_possible=0,
    expected=0.0,
    p_value=1.0,
    log10_p_value=0.0,
    chance_of_none=1.0,
    n_cut_families=0,
    log10_e_value=0.0,
    more_hatchlings=None,
    reason=None,
    work=1,
)


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


CallChanges = Sequence[tuple[str, str, int]]
"""(first call, later call, hatchlings), calls in canonical text."""


def miscalled_cells(pools: Pools, changes: CallChanges) -> dict[int, int]:
    """Cell -> hatchlings first called so that turned out to be the combination of the pools."""
    species, target, _rows = pools[0]
    found: Counter[int] = Counter()
    for called, became, count in changes:
        cells = [_cell_of_text(species, target, text) for text in (called, became)]
        if None not in cells and cells[0] != cells[1] == target.n_cells - 1:
            found[cells[0] or 0] += count
    return dict(found)


@lru_cache(maxsize=4096)
def _cell_of_text(species: Species, target: Target, text: str) -> int | None:
    """Cell of a call; None if this version of the species can not read it."""
    try:
        read = read_look(species, text)
    except GeneticsError:
        return None
    looks = {one.locus: species.by_key[one.locus].look(next(iter(one.pairs))) for one in read.looks}
    return cell_of(species, target, looks)


def assessed(
    factors: Sequence[Sequence[str]], rows: Iterable[WeightedRow], changes: CallChanges = ()
) -> Assessment:
    """State and numbers of one target from its pool rows."""
    pools = pools_of(factors, rows)
    if not pools:
        return NOTHING_REPORTED
    verdict = verdict_of(pools)
    pool = verdict.hits
    near_a_flag = verdict.evidence.value >= WATCH_E_VALUE
    return Assessment(
        state=str(verdict.state),
        n_hatchlings=pool.n_hatchlings,
        n_hits=pool.n_hits,
        n_hits_possible=pool.n_hits_possible,
        expected=float(pool.expected),
        p_value=pool.tail.probability,
        log10_p_value=max(pool.tail.log10_probability, -1e300),
        chance_of_none=pool.tail.chance_of_none,
        n_cut_families=verdict.n_cut,
        log10_e_value=max(verdict.evidence.log10, -1e300),
        more_hatchlings=verdict.more_hatchlings,
        reason=_reason(pools, pool, verdict.evidence, changes) if near_a_flag else None,
        work=pool_work(pools, _SUMS.is_new) * (WORK_NEAR_A_FLAG if near_a_flag else 1),
    )


WORK_NEAR_A_FLAG = 4
"""Times the work of a target near a flag: explanations, and the pool without its top keepers."""

_SUMS = Remembered()

LARGEST_RATIO = LARGEST_PSI
"""Recovery ratio at which estimates and intervals end: it may be more."""


def _reason(pools: Pools, hits: PoolHits, evidence: EValue, changes: CallChanges) -> dict[str, Any]:
    found = why_missing(pools, hits, evidence, miscalled=miscalled_cells(pools, changes))
    return explanation_to_json(found[0]) | {"of": len(found)}


def log10_without_top(by_keeper: Mapping[Any, Pools]) -> float | None:
    """Evidence that is left without the keeper who moves it most; None for a single keeper."""
    found = without_top_keeper(_aligned_by_keeper(by_keeper))
    return None if found is None else max(found.log10, -1e300)


def explanation_to_json(one: ExplanationResult) -> dict[str, Any]:
    """An explanation with what it is about; parts that do not apply are left out."""
    found: dict[str, Any] = {"name": str(one.name), "probability": one.probability}
    for name in ("called_as", "gene", "recombination_fraction"):
        if getattr(one, name) is not None:
            found[name] = getattr(one, name)
    return found


@dataclass(frozen=True, slots=True)
class EvidenceAnswer:
    """Everything that is said of the evidence on one target; logarithms to base 10."""

    log10_e_value: float
    log10_declared: float | None
    log10_specific: float | None
    to_undo: int
    null_rate: float
    nothing_missing: bool
    recovery: Recovery
    explanations: tuple[ExplanationResult, ...]
    look_alike_prior: float


def evidence_answer(pools: Pools, changes: CallChanges) -> EvidenceAnswer:
    """The evidence on one target with hatchlings.

    Parameters
    ----------
    changes
        What calls of the species became at later looks, in any clutches.
    """
    target = pools[0][1]
    likelihood = pool_likelihood(pools, target_viability(target))
    found = e_value(likelihood)
    declared = declared_only(pools)
    specific = specific_evidence(pools)
    hits = pool_hits(pools)
    miscalled = miscalled_cells(pools, changes)
    mean = float(hits.expected) / hits.n_hatchlings
    return EvidenceAnswer(
        log10_e_value=found.log10,
        log10_declared=declared.log10 if declared else None,
        log10_specific=specific.log10 if specific else None,
        to_undo=successes_to_undo(likelihood, hit_chance=min(max(mean, 1e-9), 1 - 1e-9)),
        null_rate=found.null_rate,
        nothing_missing=is_nothing_missing(hits, found),
        recovery=recovery_ratio(pools),
        explanations=why_missing(pools, hits, found, miscalled=miscalled),
        look_alike_prior=look_alike_prior(sum(miscalled.values())),
    )


def _aligned_by_keeper(by_keeper: Mapping[Any, Pools]) -> Mapping[Any, Pools]:
    """Keepers may have reported under different versions; their parts are summed all the same."""
    every = aligned([pool for own in by_keeper.values() for pool in own])
    found: dict[Any, Pools] = {}
    for keeper, own in by_keeper.items():
        found[keeper], every = every[: len(own)], every[len(own) :]
    return found


def flagged(
    candidates: Mapping[int, tuple[float, int]], n_targets: Mapping[int, int]
) -> frozenset[int]:
    """Targets of one species that survive weighted e-BH.

    Parameters
    ----------
    candidates
        Row of each target on watch -> logarithm of its e-value, number of factors.
    n_targets
        Number of factors -> number of all targets that were looked at.
    """
    others = Counter({SIZE_WEIGHTS[size]: 0 for size in n_targets})
    for size, n in n_targets.items():
        others[SIZE_WEIGHTS[size]] += n
    for _log10_e, size in candidates.values():
        others[SIZE_WEIGHTS[size]] -= 1
    return discoveries(
        {key: log10_e for key, (log10_e, _size) in candidates.items()},
        {key: SIZE_WEIGHTS[size] for key, (_log10_e, size) in candidates.items()},
        others=others,
    )


def explanation_priors(look_alike: float | None = None) -> Mapping[str, float]:
    """Prior weight of each explanation; that of a look-alike grows with known miscalls."""
    known = {str(name): prior for name, prior in PRIORS.items()}
    return known if look_alike is None else known | {"look-alike": look_alike}


@dataclass(frozen=True, slots=True)
class PoolNumbers:
    """Plain numbers of a pool and its evidence, for one point of a history."""

    n_hatchlings: int
    n_hits: int
    expected: float
    log10_e_value: float


def family_row(family: Sequence[FamilyClutch], target: Target) -> PoolRow | None:
    """The pool row of a family for one target; None if no clutch of it informs the target."""
    return target_row(family, target)


WORK_OF_A_KNOWN_ROW = WORK_OF_A_ROW
"""Work of adding up one pool row whose sums are known, in terms."""


def row_work(species: Species, target: Target, row: PoolRow) -> int:
    """Work of the sums of one pool row that were never made, in terms, as ``pool_work`` counts."""
    return pool_work([(species, target, Counter({row: 1}))], lambda _row: True)


def pool_numbers(pools: Pools) -> PoolNumbers:
    """Counts, expectation and evidence of a pool."""
    pools = aligned(pools)
    hits = pool_hits(pools)
    evidence = e_value(pool_likelihood(pools, target_viability(pools[0][1])))
    return PoolNumbers(
        n_hatchlings=hits.n_hatchlings,
        n_hits=hits.n_hits,
        expected=float(hits.expected),
        log10_e_value=evidence.log10,
    )


@dataclass(frozen=True, eq=False)
class Suspect:
    """A target near a flag with its pool, to be held against the others."""

    row_id: int
    combination: str
    pools: Pools


def explained_by_parts(suspect: Suspect) -> dict[str, Any] | None:
    """The part that explains the shortage of a larger combination; None if it is news.

    ``key`` is that of the part as a target; one gene of a compound is none.
    """
    beyond = beyond_parts(suspect.pools)
    found = _explanation_of(beyond)
    if beyond is None or found is None:
        return None
    species, target, _rows = suspect.pools[0]
    for part in parts_of(target):
        if " ".join(one.text for one in part.factors) == beyond.other:
            return found | {"other": combination_text(species, part), "key": part.key}
    return found


def explained_by_whole(part: Suspect, whole: Suspect, elsewhere: Pools) -> dict[str, Any] | None:
    """The larger combination, if it explains the shortage of a part; None if that is news."""
    beyond = beyond_whole(elsewhere, whole.pools, part.pools[0][1])
    found = _explanation_of(beyond)
    return found and found | {"other": whole.combination, "key": whole.pools[0][1].key}


def is_part_of(part: Suspect, whole: Suspect) -> bool:
    """Whether one combination is a part of another."""
    return is_part(part.pools[0][1], whole.pools[0][1])


def _explanation_of(beyond: Beyond | None) -> dict[str, Any] | None:
    if beyond is None or beyond.log10 >= log10(WATCH_E_VALUE):
        return None
    return {"other": beyond.other, "recovery": beyond.ratio, "log10_beyond": beyond.log10}
