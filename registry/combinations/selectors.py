"""The answer to "has anyone produced it", the list of combinations, and what is on watch."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django.db.models import Case, F, Q, QuerySet, When

from registry.catalogue.bridge import (
    ADVICE,
    LoadedSpecies,
    cautions_of_target,
    target_read,
    trade_names,
)
from registry.catalogue.selectors import names_elsewhere, species_loaded
from registry.clutches.models import PublishedSource
from registry.combinations.bridge.relatives import factors_stored, relatives_of
from registry.combinations.choices import MAX_RELATED, Produced, Relation
from registry.errors import NotFoundError, UnknownSpeciesError, at_parameter
from registry.pools.bridge import combination_text
from registry.pools.choices import FEW_KEEPERS, Source, State
from registry.pools.models import Contribution, PooledTarget
from registry.pools.services import targets_refresh


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
        species_id=species_key, key=target.key, factors=[], n_factors=target.n_factors
    )
    by_source = {row.source: row for row in rows if row.key == target.key}
    row = by_source.get(source, empty)
    cautions = cautions_of_target(loaded, target)
    on_watch = row.state == State.WATCH
    return {
        "species": loaded.key,
        "combination": combination_text(loaded.species, target),
        "names": trade_names(loaded, target),
        "state": row.state,
        "produced": produced_answer(row),
        "tried": tried_answer(row),
        "related": _related(rows, row.key, source, relations),
        "published": _published(by_source.get(Source.PUBLISHED, empty)),
        "cautions": [
            {"about": one.about, "text": one.text, "source": one.source} for one in cautions
        ],
        "advice": ADVICE if cautions or on_watch else None,
        "method": _method(loaded, row, source),
    }


def _rows(loaded: LoadedSpecies, keys: set[str], factors: list[list[str]]) -> list[PooledTarget]:
    """The target and its relatives, brought up to date.

    All that are stale are brought up to date first: a fresh row has no counts to be ordered by.
    Then those of ``keys`` come first, so that the limit only cuts combinations with more genes.
    """
    near = Q(key__in=keys)
    wanted = PooledTarget.objects.filter(near | Q(factors__contains=factors), species=loaded.key)
    stale = wanted.filter(assessed_revision__lt=F("revision")).values_list("pk", flat=True)
    if ids := list(stale):
        targets_refresh(ids=ids)
    rows = wanted.order_by(Case(When(near, then=0), default=1), "-n_hatchlings", "key")
    return list(rows[: len(keys) * 2 + 4 * MAX_RELATED])


def produced_answer(row: PooledTarget) -> dict[str, Any]:
    """Whether anyone has produced it, and how often."""
    answer = Produced.NO
    if row.n_hits_possible:
        answer = Produced.YES if row.n_hits else Produced.UNCERTAIN
    few = row.n_keepers_with_hit < FEW_KEEPERS and row.source != Source.PUBLISHED
    return {
        "answer": answer,
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


def keepers_shown(n_keepers: int) -> int | None:
    """A number of keepers as it is shown: None for one or two."""
    return n_keepers if n_keepers == 0 or n_keepers >= FEW_KEEPERS else None


def _related(
    rows: list[PooledTarget], key: str, source: Source, relations: Mapping[str, Relation]
) -> list[dict[str, Any]]:
    order = [Relation.PART, Relation.SUPER_FORM, Relation.WITH_MORE]
    found = [
        (relations.get(row.key, Relation.WITH_MORE), row)
        for row in rows
        if row.key != key and row.source == source and row.n_hatchlings
    ]
    found.sort(key=lambda item: (order.index(item[0]), -item[1].n_hatchlings, item[1].key))
    near = [item for item in found if item[0] is not Relation.WITH_MORE]
    more = [item for item in found if item[0] is Relation.WITH_MORE][:MAX_RELATED]
    return [
        {
            "combination": row.combination,
            "relation": relation,
            "state": row.state,
            "produced": produced_answer(row)["answer"],
            "hatchlings": row.n_hatchlings,
            "hits": row.n_hits,
            "expected": row.expected,
        }
        for relation, row in (*near, *more)
    ]


def _published(row: PooledTarget) -> dict[str, Any]:
    """What published crosses say; never part of the keepers' numbers."""
    sources = []
    if row.pk is not None:
        families = Contribution.objects.filter(target=row).values("family")
        sources = [
            {"citation": one.citation, "from_memory": one.from_memory}
            for one in PublishedSource.objects.filter(clutches__family__in=families).distinct()
        ]
    return {
        "state": row.state,
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
        "families_too_large": row.n_cut_families,
    }


def combination_list(source: Source) -> QuerySet[PooledTarget]:
    """Every combination that a clutch of this source informs."""
    return PooledTarget.objects.filter(source=source, n_hatchlings__gt=0)


def flag_list(source: Source) -> QuerySet[PooledTarget]:
    """Combinations on watch."""
    return combination_list(source).filter(state=State.WATCH)


def row_answer(row: PooledTarget) -> dict[str, Any]:
    """One combination of a list."""
    return {
        "species": row.species_id,
        "combination": row.combination,
        "state": row.state,
        "produced": produced_answer(row),
        "tried": tried_answer(row),
    }


def flag_answer(row: PooledTarget) -> dict[str, Any]:
    """One combination on watch, with the reason."""
    return row_answer(row) | {"reason": watch_reason(row)}


def watch_reason(row: PooledTarget) -> str:
    """Why a combination is on watch, in a keeper's words."""
    often = f"1 time in {round(1 / row.p_value):,}" if row.p_value > 1e-12 else "practically never"  # noqa: PLR2004
    unsure = row.n_hits_possible - row.n_hits
    also = f" (and {unsure} that may be)" if unsure else ""
    return (
        f"{row.n_hits} hatched{also} where {row.expected:.3g} were expected among "
        f"{row.n_hatchlings} hatchlings; luck alone leaves so few {often}. This does not say why: "
        "a mislabelled parent or a look-alike does the same."
    )
