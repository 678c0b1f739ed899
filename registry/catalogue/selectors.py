"""Reads of the catalogue: species by key, versions, genes."""

from __future__ import annotations

from collections.abc import Mapping
from functools import lru_cache
from typing import Any

from django.db.models import F, QuerySet

from registry.api.nearest import nearest_names
from registry.catalogue.bridge import (
    LoadedSpecies,
    OtherNames,
    caution_about,
    genes_described,
    other_names,
    species_from_content,
)
from registry.catalogue.models import CatalogueVersion, Gene, Species
from registry.errors import NotFoundError, UnknownSpeciesError, at, at_parameter


def species_list() -> QuerySet[Species]:
    """Every species with its version in force."""
    return Species.objects.filter(current__isnull=False).select_related("current")


def species_get(key: str) -> Species:
    """One species; `NotFoundError` for a key that the catalogue does not have."""
    found = species_list().filter(key=key).first()
    if found is None:
        raise NotFoundError(_unknown(key).message)
    return found


def gene_list(species_key: str) -> QuerySet[Gene]:
    """Genes of a species under its version in force."""
    version = species_get(species_key).current_id
    return Gene.objects.filter(version=version).select_related("version")


def species_loaded(key: str) -> LoadedSpecies:
    """A species under its version in force, ready for the genetics. One statement.

    Raises
    ------
    UnknownSpeciesError
        No such species; the nearest keys are suggested.
    """
    row = (
        CatalogueVersion.objects.filter(species=key, species__current=F("id"))
        .values_list("id", flat=True)
        .first()
    )
    if row is None:
        raise _unknown(key)
    return version_loaded(row)


def bracketed_names(key: str) -> frozenset[str]:
    """What stands in round brackets in the names of a species' genes, without case.

    Empty for a species that the catalogue does not have.
    """
    try:
        loaded = species_loaded(key)
    except UnknownSpeciesError:
        return frozenset()
    return loaded.bracketed_names


@lru_cache(maxsize=256)
def version_loaded(version_id: int) -> LoadedSpecies:
    """A species under a given version. Versions never change, so each process reads one once."""
    version = CatalogueVersion.objects.get(pk=version_id)
    return LoadedSpecies(
        key=version.species_id,
        version_id=version.pk,
        label=version.label,
        species=species_from_content(version.content),
        content=version.content,
    )


def species_asked(key: str | None) -> str | None:
    """The species that a list is asked for, None for all.

    Raises
    ------
    FieldsError
        With `UnknownSpeciesError`, read in the parameter ``species``.
    """
    if key is not None and key.strip() and not species_list().filter(key=key).exists():
        with at_parameter("species"):
            raise _unknown(key)
    return key


def names_elsewhere(key: str) -> OtherNames:
    """Names of genes in all other species, for the error about a gene of another species."""

    def load() -> Mapping[str, tuple[str, ...]]:
        current = (
            Species.objects.filter(current__isnull=False)
            .exclude(key=key)
            .order_by("key")
            .values_list("current_id", flat=True)
        )
        return _names_of(tuple(one for one in current if one is not None))

    return OtherNames(load)


@lru_cache(maxsize=64)
def _names_of(versions: tuple[int, ...]) -> Mapping[str, tuple[str, ...]]:
    return other_names(version_loaded(one) for one in versions)


def _unknown(key: str) -> UnknownSpeciesError:
    known = Species.objects.filter(current__isnull=False).values_list("key", flat=True)
    return UnknownSpeciesError(species=key, suggestions=nearest_names(key, known))


def species_answer(species: Species) -> dict[str, Any]:
    """A species as it is answered."""
    version = species.current
    return {
        "species": species.key,
        "common_name": species.common_name,
        "scientific_name": species.scientific_name,
        "sex_determination": species.sex_determination,
        "kind": species.kind,
        "catalogue": version.label if version else "",
        "loaded_at": version.loaded_at if version else None,
    }


def gene_answer(gene: Gene) -> dict[str, Any]:
    """A gene as it is answered."""
    return {
        "name": gene.name,
        "locus": gene.locus,
        "aliases": gene.aliases,
        "super_names": gene.super_names,
        "mode": gene.mode,
        "two_copies": gene.two_copies,
        "sex_linked": gene.sex_linked,
        "confidence": gene.confidence,
        "why": gene.why,
        "source": gene.source,
        "cautions": [
            {
                "about": caution_about([(gene.name, one["copies"])]),
                "text": one["text"],
                "source": one["source"],
            }
            for one in gene.cautions
        ],
        "catalogue": gene.version.label,
    }


def notation_answer(given: Mapping[str, str]) -> dict[str, Any]:
    """What a text means for an animal of a species."""
    with at("species"):
        loaded = species_loaded(given["species"])
    with at("text"):
        read = genes_described(loaded, given["text"], names_elsewhere(loaded.key))
    return {
        "species": loaded.key,
        "text": given["text"],
        "genes": [
            {
                "gene": one.gene,
                "locus": one.locus,
                "copies": one.copies,
                "chance": None if one.chance is None else float(one.chance),
                "fraction": None if one.chance is None else str(one.chance),
                "shows": one.shows,
            }
            for one in read.genes
        ],
        "canonical": read.canonical,
        "names": list(read.names),
        "catalogue": loaded.label,
    }
