"""What the pages read beside what the interface answers."""

from __future__ import annotations

from dataclasses import dataclass

from django.db.models.fields.json import KeyTextTransform, KeyTransform

from registry.catalogue.selectors import species_list


@dataclass(frozen=True, slots=True)
class SpeciesChoice:
    """A species to choose; an invented one is for looking around only."""

    key: str
    name: str
    is_invented: bool


def species_choices() -> list[SpeciesChoice]:
    """Every species that keepers report, by name, invented ones last. One statement."""
    rows = (
        species_list()
        .annotate(is_invented=_of_file("invented"), use=_of_file("use"))
        .values_list("key", "common_name", "is_invented", "use")
    )
    choices = [
        SpeciesChoice(key, name, is_invented == "true")
        for key, name, is_invented, use in rows
        if use in {None, "keepers"}
    ]
    return sorted(choices, key=lambda one: (one.is_invented, one.name))


def _of_file(name: str) -> KeyTextTransform:
    """A member of the part about the species, in the file that is in force."""
    return KeyTextTransform(name, KeyTransform("species", "current__content"))
