"""Load published crosses: beside keepers' clutches, never among them."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

from django.db import transaction

from registry.catalogue.json_faults import parsed, schema_findings
from registry.catalogue.selectors import names_elsewhere, species_loaded
from registry.catalogue.services import catalogue_load
from registry.clutches.bridge.reports import clutch_read, parents_read
from registry.clutches.models import Clutch, PublishedSource
from registry.clutches.services.reporting import clutch_store_published
from registry.errors import FieldsError, PublishedFaultError, at
from registry.pools.choices import Source
from registry.pools.families import PoolOwner, families_replace

SCHEMA_PATH = Path(__file__).parents[1] / "format" / "published.schema.json"


@dataclass(frozen=True, slots=True)
class PublishedResult:
    """What loading one publication did; none of a publication from memory is pooled."""

    key: str
    n_crosses: int
    n_hatchlings: int
    pooled: bool


def published_load(path: Path) -> list[PublishedResult]:
    """Load a file of published crosses, or a folder with its ``species`` folder; all or none.

    A publication that was loaded before is replaced.

    Raises
    ------
    PublishedFaultError, CatalogueFaultError
        A file that can not be loaded; the message names file, place and fault.
    """
    files = sorted(path.glob("*.json")) if path.is_dir() else [path]
    if not files:
        raise PublishedFaultError(f"There is no file of published crosses at {path}.")
    contents = [(one, _content(one)) for one in files]
    with transaction.atomic():
        if (path / "species").is_dir():
            catalogue_load(path / "species")
        return [_publication_load(one, content) for one, content in contents]


@cache
def _schema() -> Mapping[str, Any]:
    loaded: Mapping[str, Any] = json.loads(SCHEMA_PATH.read_bytes())
    return loaded


def _content(path: Path) -> Mapping[str, Any]:
    try:
        raw = path.read_bytes()
    except OSError as error:
        raise PublishedFaultError(f"{path}: cannot be read: {error.strerror}") from error
    content, findings = parsed(raw)
    findings = findings or schema_findings(content, _schema())
    if findings or not isinstance(content, Mapping):
        lines = [f"{path}: {place or '/'}: {message}" for place, message in findings]
        raise PublishedFaultError("\n".join(lines) or f"{path}: /: expected an object")
    return content


def _publication_load(path: Path, content: Mapping[str, Any]) -> PublishedResult:
    former = PublishedSource.objects.filter(pk=content["key"]).first()
    if former is not None:
        _publication_remove(former)
    publication = PublishedSource.objects.create(
        key=content["key"],
        title=content["title"],
        citation=content["citation"],
        read_at=content["read_at"],
        from_memory=content["from_memory"],
        note=content.get("note", ""),
        content=content,
    )
    crosses: Sequence[Mapping[str, Any]] = content["crosses"]
    pooled = not publication.from_memory
    if pooled:
        for number, cross in enumerate(crosses):
            try:
                with at("crosses", number):
                    _cross_store(publication, content["species"], cross)
            except FieldsError as errors:
                lines = [
                    f"{path}: /{'/'.join(map(str, one.place))}: {one.error}"
                    for one in errors.errors
                ]
                raise PublishedFaultError("\n".join(lines)) from errors
    return PublishedResult(
        key=publication.key,
        n_crosses=len(crosses),
        n_hatchlings=sum(one["count"] for cross in crosses for one in cross["hatchlings"]),
        pooled=pooled,
    )


def _cross_store(publication: PublishedSource, species: str, cross: Mapping[str, Any]) -> None:
    loaded = species_loaded(species)
    others = names_elsewhere(species)
    read = clutch_read(loaded, parents_read(loaded, cross, others), cross["hatchlings"], others)
    given = {**cross, "season": cross.get("season")}
    clutch_store_published(publication.key, given, read)


def _publication_remove(publication: PublishedSource) -> None:
    """Take a publication and its part in the pools out again."""
    families = Clutch.objects.filter(published=publication).values_list("family", flat=True)
    families_replace(PoolOwner("", Source.PUBLISHED, None, None), former=families)
    publication.delete()
