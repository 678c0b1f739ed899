"""No column anywhere says who somebody is, or where."""

from __future__ import annotations

import re

from django.apps import apps
from django.db.models import EmailField, Field, GenericIPAddressField, Model, URLField

PERSONAL = re.compile(
    "name|mail|phone|tel|address|addr|ip|host|location|place|city|town|country|region|postal|zip|"
    "lat|latitude|lon|longitude|geo|birth|born|gender|user|agent|contact|person|surname|nick"
)
"""Words of a column's name, between underscores; most kinds of personal data are called one."""

ALLOWED = {
    "catalogue.Species.common_name": "of a species",
    "catalogue.Species.scientific_name": "of a species",
    "catalogue.Gene.name": "of a gene",
    "catalogue.Gene.place": "in the list of a species",
    "clutches.HatchlingGroup.place": "in the list of a clutch",
}
"""Columns that are called so and hold something else."""

OF_KEEPERS = {
    "keepers.Keeper": {"id", "recovery_sha256", "joined_at", "is_held"},
    "keepers.KeeperToken": {
        "id",
        "keeper",
        "sha256",
        "starts_with",
        "label",
        "created_at",
        "last_used_on",
        "expires_on",
    },
    "keepers.Erasure": {"sha256", "erased_on"},
}
"""Everything that is kept of a keeper as such; one more column is a decision."""


def columns(model: type[Model]) -> list[Field]:
    return [one for one in model._meta.get_fields() if isinstance(one, Field)]


def of_ours() -> list[type[Model]]:
    """Every table that a part of the registry has."""
    return [one for one in apps.get_models() if one.__module__.startswith("registry.")]


def test_columns__of_keepers_are_these():
    found = {
        model._meta.label: {one.name for one in columns(model)}
        for model in apps.get_app_config("keepers").get_models()
    }
    assert found == OF_KEEPERS


def test_columns__are_called_nothing_personal():
    assert len(of_ours()) > 10
    found = {
        f"{model._meta.label}.{one.name}"
        for model in of_ours()
        for one in columns(model)
        if any(PERSONAL.fullmatch(word) for word in one.name.split("_"))
    }
    assert found == set(ALLOWED)


def test_columns__hold_no_addresses():
    kinds = (EmailField, GenericIPAddressField, URLField)
    found = [
        f"{model._meta.label}.{one.name}"
        for model in of_ours()
        for one in columns(model)
        if isinstance(one, kinds)
    ]
    assert found == []


def test_columns__the_words_find_what_they_shall():
    wanted = ("name", "first_name", "e_mail", "ip_address", "last_host", "home_town", "geo_point")
    for name in wanted:
        assert any(PERSONAL.fullmatch(word) for word in name.split("_"))
    assert not any(PERSONAL.fullmatch(word) for word in ["clutch", "code", "label"])
