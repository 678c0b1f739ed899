"""Which tables an erasure empties: found from the models, and complete."""

from __future__ import annotations

import pytest
from django.apps import apps
from django.db.models import CASCADE, DO_NOTHING, PROTECT, RESTRICT, SET_NULL, Field, UUIDField

from registry.clutches.models import Clutch
from registry.keepers.models import Keeper
from registry.records.belongings import label_of, removals

KNOWN = {
    "keepers.Keeper",
    "keepers.KeeperToken",
    "pairings.Animal",
    "pairings.Pairing",
    "pools.Contribution",
    "clutches.Clutch",
    "clutches.HatchlingGroup",
}


def test_removals__are_one_statement_a_table_and_what_refers_goes_first():
    labels = [one.label for one in removals() if one.deletes]
    assert len(labels) == len(set(labels))
    assert set(labels) >= KNOWN
    for model in apps.get_models():
        for field in model._meta.get_fields():
            if field.many_to_one and field.remote_field.on_delete is CASCADE:
                pair = [label_of(model), label_of(field.related_model)]
                if pair[0] != pair[1] and set(pair) <= set(labels):
                    assert labels.index(pair[0]) < labels.index(pair[1])


def test_removals__let_rows_that_stay_forget_before_anything_is_deleted():
    kinds = [one.deletes for one in removals()]
    assert kinds == sorted(kinds)
    forgetting = [one for one in removals() if not one.deletes]
    assert "clutches.Clutch" in {one.label for one in forgetting}


@pytest.mark.parametrize("rule", [PROTECT, RESTRICT, DO_NOTHING])
def test_removals__refuse_a_rule_that_no_erasure_could_follow(monkeypatch, rule):
    relation = Clutch._meta.get_field("keeper").remote_field
    monkeypatch.setattr(relation, "on_delete", rule)
    removals.cache_clear()
    try:
        with pytest.raises(TypeError, match=r"clutches\.Clutch\.keeper refers to a keeper's rows"):
            removals()
    finally:
        removals.cache_clear()


def test_keepers__are_referred_to_by_foreign_keys_only():
    """A bare column with a keeper's id would be left behind by an erasure."""
    wrong = [
        f"{label_of(model)}.{field.name}"
        for model in apps.get_models()
        for field in model._meta.get_fields()
        if isinstance(field, Field)
        and isinstance(field, UUIDField)
        and ("keeper" in field.name or "owner" in field.name)
        and not field.remote_field
    ]
    assert wrong == []
    rules = {
        relation.field.remote_field.on_delete
        for relation in Keeper._meta.get_fields(include_hidden=True)
        if relation.auto_created and not relation.concrete
    }
    assert rules <= {CASCADE, SET_NULL}
