"""The answer to "has anyone produced it", the list of combinations, and what is on watch."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from contextlib import suppress
from typing import Any

from django.db.models import Case, F, OuterRef, Q, QuerySet, Subquery, TextField, Value, When
from django.db.models.fields.json import KeyTextTransform

from registry.catalogue.bridge import (
    CARE,
    NO_TRIALS,
    LoadedSpecies,
    cautions_of_target,
    target_read,
    trade_names,
)
from registry.catalogue.selectors import names_elsewhere, species_loaded
from registry.clutches.models import PublishedSource
from registry.combinations.bridge.relatives import factors_stored, is_part_of_names, relatives_of
from registry.combinations.choices import MAX_RELATED, Produced, Relation
from registry.combinations.evidence import evidence_parts, value_of
from registry.combinations.wording import flag_reason, produced_word
from registry.errors import FieldsError, NotFoundError, UnknownSpeciesError, at_parameter
from registry.pairings.selectors import declared_counts
from registry.pools.bridge.rows import combination_text
from registry.pools.choices import FEW_KEEPERS, Source, State
from registry.pools.models import Contribution, PooledTarget
from registry.pools.services import flagged_targets, targets_refresh


def combination_named(species_key: str, text: str) -> str:
    """Canonical text of a combination; nothing is looked up of it.

    Raises
    ------
    FieldsError
        Read in the parameters: no such species, or a text that is no combination of it.
    """
    with at_parameter("species"):
        loaded = species_loaded(species_key)
    with at_parameter("combination"):
        target = target_read(loaded, text, names_elsewhere(species_key))
    return combination_text(loaded.species, target)


def combinations_named(species_key: str, texts: Iterable[str]) -> dict[str, str]:
    """Text -> canonical text of those that are combinations. One statement.

    Raises
    ------
    UnknownSpeciesError
    """
    loaded = species_loaded(species_key)
    others = names_elsewhere(species_key)
    named = {}
    for text in texts:
        with suppress(ValueError):  # of genetics
            named[text] = combination_text(loaded.species, target_read(loaded, text, others))
    return named


def combination_answer(species_key: str, text: str, source: Source) -> dict[str, Any]:
    """Everything known of one combination; complete also when nobody reported it.

    Raises
    ------
    NotFoundError
        No such species.
    FieldsError
        A text that is no combination of the species.
    """
    try:
        loaded = species_loaded(species_key)
    except UnknownSpeciesError as error:
        raise NotFoundError(error.message, **error.fields) from error
    with at_parameter("genes"):
        target = target_read(loaded, text, names_elsewhere(species_key))
    relations = {one.key: one.relation for one in relatives_of(loaded, target)}
    rows = _rows(loaded, {target.key, *relations}, factors_stored(target))
    empty = PooledTarget(
        species_id=species_key,
        source=source,
        key=target.key,
        factors=[],
        n_factors=target.n_factors,
    )
    by_source = {row.source: row for row in rows if row.key == target.key}
    row = by_source.get(source, empty)
    state = state_of(row)
    published = by_source.get(Source.PUBLISHED, empty)
    cautions = cautions_of_target(loaded, target)
    parts = evidence_parts(row, state, has_cautions=bool(cautions))
    priors = parts.pop("priors")
    on_board = state in {State.WATCH, State.FLAGGED}
    return {
        "species": loaded.key,
        "combination": combination_text(loaded.species, target),
        "names": trade_names(loaded, target),
        "state": state,
        "produced": produced_answer(row),
        "tried": tried_answer(row),
        "declared_pairings": declared_answer(species_key, target.key, source),
        **parts,
        "related": _related(rows, row, relations),
        "published": _published(published, state_of(published)),
        "cautions": [
            {"about": one.about, "text": one.text, "source": one.source} for one in cautions
        ],
        "advice": NO_TRIALS if on_board else CARE if cautions else None,
        "method": _method(loaded, row, source) | {"priors": priors},
    }


def _rows(loaded: LoadedSpecies, keys: set[str], factors: list[list[str]]) -> list[PooledTarget]:
    """The target and its relatives; everything of the species is brought up to date first.

    What is flagged depends on all combinations looked at. Those of ``keys`` come first, so that
    the limit only cuts combinations with more genes.
    """
    targets_refresh(species=loaded.key)
    near = Q(key__in=keys)
    flagged = frozenset().union(*(flagged_targets(one, loaded.key) for one in Source))
    wanted = with_shown_state(
        PooledTarget.objects.filter(near | Q(factors__contains=factors), species=loaded.key),
        flagged,
    )
    rows = with_other_produced(wanted).order_by(
        Case(When(near, then=0), default=1), "-n_hatchlings", "key"
    )
    return list(rows[: len(keys) * 2 + 4 * MAX_RELATED])


def produced_answer(row: PooledTarget) -> dict[str, Any]:
    """Whether anyone has produced it, and how often."""
    few = row.n_keepers_with_hit < FEW_KEEPERS and row.source != Source.PUBLISHED
    return {
        "answer": produced_word(row.n_hits, row.n_hits_possible),
        "hatchlings": row.n_hits,
        "hatchlings_if_uncertain_count": row.n_hits_possible,
        "clutches": row.n_clutches_with_hit,
        "keepers": keepers_shown(row.n_keepers_with_hit),
        "first_season": None if few else row.first_hit_season,
    }


def tried_answer(row: PooledTarget) -> dict[str, Any]:
    """How often it could have hatched, and what was to be expected."""
    return {
        "clutches": row.n_clutches,
        "hatchlings": row.n_hatchlings,
        "keepers": keepers_shown(row.n_keepers),
        "expected": row.expected,
        "chance_of_none": row.chance_of_none,
        "p_value": row.p_value,
    }


def declared_answer(species: str, target_key: str, source: Source) -> dict[str, Any] | None:
    """The reporting gap: declared pairings of past seasons that nobody told the outcome of.

    None for published crosses, which nobody declares, and below three keepers.
    """
    if source == Source.PUBLISHED:
        return None
    n_declared, n_without, n_keepers = declared_counts(species, target_key)
    if n_keepers < FEW_KEEPERS:
        return None
    return {
        "declared": n_declared,
        "without_outcome": n_without,
        "share_without_outcome": n_without / n_declared,
    }


def keepers_shown(n_keepers: int) -> int | None:
    """A number of keepers as it is shown: None for one or two."""
    return n_keepers if n_keepers == 0 or n_keepers >= FEW_KEEPERS else None


def state_of(row: PooledTarget) -> str:
    """The state of a target, with what all targets of its species together say."""
    return str(getattr(row, "shown_state", row.state))


def _related(
    rows: list[PooledTarget],
    asked: PooledTarget,
    relations: Mapping[str, Relation],
) -> list[dict[str, Any]]:
    order = [Relation.PART, Relation.SUPER_FORM, Relation.WITH_MORE]
    found = [
        (relations.get(row.key, Relation.WITH_MORE), row)
        for row in rows
        if row.key != asked.key and row.source == asked.source and row.n_hatchlings
    ]
    found.sort(key=lambda item: (order.index(item[0]), -item[1].n_hatchlings, item[1].key))
    near = [item for item in found if item[0] is not Relation.WITH_MORE]
    more = [item for item in found if item[0] is Relation.WITH_MORE][:MAX_RELATED]
    return [
        {
            "combination": row.combination,
            "relation": relation,
            "state": state_of(row),
            "produced": produced_answer(row)["answer"],
            "hatchlings": row.n_hatchlings,
            "hits": row.n_hits,
            "expected": row.expected,
        }
        for relation, row in (*near, *more)
    ]


def _published(row: PooledTarget, state: str) -> dict[str, Any]:
    """What published crosses say; never part of the keepers' numbers."""
    sources = []
    if row.pk is not None:
        families = Contribution.objects.filter(target=row).values("family")
        sources = [
            {"citation": one.citation, "from_memory": one.from_memory}
            for one in PublishedSource.objects.filter(clutches__family__in=families).distinct()
        ]
    return {
        "state": state,
        "clutches": row.n_clutches,
        "hatchlings": row.n_hatchlings,
        "produced": row.n_hits,
        "expected": row.expected,
        "p_value": row.p_value,
        "citations": sources,
    }


def _method(loaded: LoadedSpecies, row: PooledTarget, source: Source) -> dict[str, Any]:
    return {
        "catalogue": loaded.label,
        "source": source,
        "pool": row.n_clutches,
        "p_value": (
            "exact lower tail of the pooled counts, every clutch with its own chance, hatchlings "
            "with uncertain calls counted as hits"
        ),
        "parents": "as stated; possible hets at their chance, shared by all clutches of an animal",
        "e_value": (
            "universal inference: a mixture over recovery ratio and nuisance rate against the best "
            "nuisance rate under Mendel; valid at every look"
        ),
        "many_combinations": "weighted e-BH at 5 % over all combinations of the species",
        "families_too_large": row.n_cut_families,
    }


def combination_list(source: Source, species: str | None = None) -> QuerySet[PooledTarget]:
    """Every combination that a clutch of this source informs, with its state as ``shown_state``."""
    looked_at = PooledTarget.objects.filter(source=source, n_hatchlings__gt=0)
    return with_shown_state(looked_at, flagged_targets(source, species))


def gene_wanted(species_key: str | None, text: str) -> Q:
    """Condition of the combinations that a text is a part of, or whose genes it names.

    Raises
    ------
    FieldsError
        A text that is neither in the species, read in the parameter ``gene``.
    """
    part = Q(combination__icontains=text)
    if not species_key:
        return part
    loaded = species_loaded(species_key)
    try:
        with at_parameter("gene"):
            target = target_read(loaded, text, names_elsewhere(species_key))
    except FieldsError:
        if is_part_of_names(loaded, text):
            return part
        raise
    return part | Q(factors__contains=factors_stored(target))


def with_shown_state(
    rows: QuerySet[PooledTarget], flagged: Collection[int]
) -> QuerySet[PooledTarget]:
    """Targets with ``shown_state``: their own, or flagged among all of their species."""
    among_all = When(pk__in=flagged, then=Value(State.FLAGGED))
    return rows.annotate(shown_state=Case(among_all, default=F("state")))


def flag_list(source: Source, species: str | None = None) -> QuerySet[PooledTarget]:
    """Combinations that are flagged or on watch."""
    return with_other_produced(combination_list(source, species).filter(state=State.WATCH))


def with_other_produced(rows: QuerySet[PooledTarget]) -> QuerySet[PooledTarget]:
    """Targets with ``other_produced``: whether anyone has produced what explains each.

    None where nothing does, or where that is no combination of its own.
    """
    other = PooledTarget.objects.filter(
        species=OuterRef("species"), source=OuterRef("source"), key=OuterRef("other_key")
    )
    produced = Case(
        When(n_hits__gt=0, then=Value(Produced.YES)),
        When(n_hits_possible__gt=0, then=Value(Produced.UNCERTAIN)),
        default=Value(Produced.NO),
        output_field=TextField(),
    )
    return rows.annotate(other_key=KeyTextTransform("key", "explained_by")).annotate(
        other_produced=Subquery(other.values(produced=produced)[:1])
    )


def row_answer(row: Any) -> dict[str, Any]:
    """One combination of a list."""
    return {
        "species": row.species_id,
        "combination": row.combination,
        "state": row.shown_state,
        "produced": produced_answer(row),
        "tried": tried_answer(row),
        "e_value": value_of(row.log10_e_value),
    }


def flag_answer(row: Any) -> dict[str, Any]:
    """One combination that is flagged or on watch, with the reason."""
    reason = row.reason or {}
    return row_answer(row) | {
        "reason": flag_reason(row, row.shown_state),
        "explanation": reason.get("name"),
        "explanation_probability": reason.get("probability"),
    }
