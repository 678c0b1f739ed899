"""Writes of the catalogue: load a species file as a new version."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from django.db import transaction
from django.db.models import Max

from registry.catalogue.bridge import species_from_content
from registry.catalogue.checking import check_file, completed
from registry.catalogue.choices import SpeciesKind
from registry.catalogue.json_faults import parsed
from registry.catalogue.models import CatalogueVersion, Gene, Species
from registry.errors import CatalogueFaultError

_KINDS = {
    "keepers": SpeciesKind.KEPT,
    "published": SpeciesKind.REFERENCE,
    "check": SpeciesKind.REFERENCE,
}


@dataclass(frozen=True, slots=True)
class LoadResult:
    """What loading one file did; ``is_new`` is false if the version in force had this content."""

    species: str
    label: str
    is_new: bool


def catalogue_files(path: Path) -> list[Path]:
    """The species files of a path: the file itself, or every JSON file of the folder."""
    return sorted(path.glob("*.json")) if path.is_dir() else [path]


def catalogue_load(path: Path) -> list[LoadResult]:
    """Load a species file, or every one of a folder; all of them or none.

    Raises
    ------
    CatalogueFaultError
        A file that does not pass its check; the message names file, place and fault.
    """
    files = catalogue_files(path)
    faults = [str(fault) for one in files for fault in check_file(one)]
    if not files:
        raise CatalogueFaultError(f"There is no species file at {path}.")
    if faults:
        raise CatalogueFaultError("\n".join(faults))
    with transaction.atomic():
        return [_file_load(one) for one in files]


def _file_load(path: Path) -> LoadResult:
    content, _findings = parsed(path.read_bytes())
    return species_load(completed(content))


@transaction.atomic
def species_load(content: Mapping[str, Any]) -> LoadResult:
    """Put the content of a checked species file in force.

    Content that was loaded before is put back in force under its old number; anything else gets
    the next number.
    """
    species_from_content(content)
    head = content["species"]
    digest = hashlib.sha256(
        json.dumps(content, sort_keys=True, ensure_ascii=False).encode()
    ).hexdigest()
    Species.objects.bulk_create([_species(head)], ignore_conflicts=True)
    species = Species.objects.select_for_update().get(key=head["key"])
    version = species.versions.filter(sha256=digest).first()
    is_new = version is None or version.pk != species.current_id
    if version is None:
        last = species.versions.aggregate(last=Max("number"))["last"] or 0
        version = species.versions.create(number=last + 1, sha256=digest, content=content)
        Gene.objects.bulk_create(_genes(version, content))
    if is_new:
        fresh = _species(head)
        fresh.current = version
        fresh.save()
    return LoadResult(species=species.key, label=version.label, is_new=is_new)


def _species(head: Mapping[str, Any]) -> Species:
    kind = SpeciesKind.INVENTED if head["invented"] else _KINDS[head["use"]]
    return Species(
        key=head["key"],
        common_name=head["common_name"],
        scientific_name=head["scientific_name"],
        sex_determination=head["sex_determination"],
        kind=kind,
    )


def _genes(version: CatalogueVersion, content: Mapping[str, Any]) -> list[Gene]:
    rows = [(locus, allele) for locus in content["loci"] for allele in locus["alleles"]]
    return [
        Gene(
            version=version,
            place=place,
            locus=locus["key"],
            name=allele["gene"],
            aliases=allele["aliases"],
            super_names=allele["super_names"],
            mode=allele["mode"],
            two_copies=allele["two_copies"],
            sex_linked=locus["sex_linkage"] is not None,
            confidence=allele["confidence"],
            why=allele["why"],
            source=allele["source"],
            cautions=allele["cautions"],
        )
        for place, (locus, allele) in enumerate(rows)
    ]
