"""Shapes of parents and pairings."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from registry.api.fields import CountField, ListOfField, NameField, ObjectOfField, TextField
from registry.api.serializers import StrictSerializer
from registry.pairings.choices import (
    MAX_BASIS_LENGTH,
    MAX_GENES_LENGTH,
    MAX_LABEL_LENGTH,
    MAX_STATED_GENES,
    BreedingStatus,
    Origin,
    Pedigree,
    PhaseKind,
    Sex,
    SexChromosome,
)


def _gene_list(help_text: str) -> ListOfField:
    return ListOfField(
        child=TextField(max_length=MAX_GENES_LENGTH),
        required=False,
        max_length=MAX_STATED_GENES,
        help_text=help_text,
    )


class PhaseSerializer(StrictSerializer):
    """Whether two linked genes sit on one chromosome (coupling) or on the two (repulsion)."""

    genes = ListOfField(child=TextField(max_length=MAX_GENES_LENGTH), min_length=2, max_length=2)

    def get_fields(self) -> dict[str, serializers.Field[Any, Any, Any, Any]]:
        """Adds ``is``, which is no name in Python."""
        return super().get_fields() | {"is": NameField(PhaseKind.values)}


class ParentSerializer(StrictSerializer):
    """A sire or dam: its genes in a keeper's words, and how they are known."""

    genes = TextField(
        max_length=MAX_GENES_LENGTH,
        help_text="Such as `pale reed het quillback`; `normal` for none.",
    )
    animal = TextField(
        max_length=MAX_LABEL_LENGTH,
        required=False,
        allow_null=True,
        help_text="Your own label; shown to nobody else. Clutches of one label share the animal.",
    )
    unproven = _gene_list("Stated genes that no breeding has shown yet.")
    proven = _gene_list("Possible hets that breeding has proven.")
    pedigree = ObjectOfField(
        child=NameField(Pedigree.values),
        required=False,
        help_text="For a possible het without a number: what its own parents were.",
    )
    phase = ListOfField(child=PhaseSerializer(), required=False, max_length=MAX_STATED_GENES)
    on_chromosome = ObjectOfField(
        child=NameField(SexChromosome.values),
        required=False,
        help_text="Sex-linked gene -> the sex chromosome it sits on.",
    )
    inherited_from = ObjectOfField(
        child=NameField(Origin.values),
        required=False,
        help_text="Gene -> the animal's own parent that it came from.",
    )


class PairingInSerializer(StrictSerializer):
    """A pairing to declare."""

    species = TextField(max_length=60)
    season = CountField(min=0, max=9999, help_text="Year in which it should hatch.")
    sire = ParentSerializer()
    dam = ParentSerializer()


class StatedParentSerializer(serializers.Serializer[Any]):
    """A parent as it was read."""

    genes = serializers.CharField(help_text="Canonical text.")
    animal = serializers.CharField(allow_null=True)


class PairingSerializer(serializers.Serializer[Any]):
    """A declared pairing."""

    id = serializers.UUIDField()
    species = serializers.CharField()
    season = serializers.IntegerField()
    sire = StatedParentSerializer()
    dam = StatedParentSerializer()
    declared_at = serializers.DateTimeField()
    catalogue = serializers.CharField()


class BredInSerializer(StrictSerializer):
    """What breeding has shown of one gene of an animal."""

    gene = TextField(max_length=MAX_GENES_LENGTH, help_text="One gene, in your own words.")
    status = NameField(BreedingStatus.values)
    basis = TextField(
        max_length=MAX_BASIS_LENGTH,
        required=False,
        allow_null=True,
        help_text="What it rests on, such as `two clutches with a visual dam`; shown to you alone.",
    )


class AnimalStatusSerializer(serializers.Serializer[Any]):
    """What breeding has shown, and when it was said."""

    gene = serializers.CharField()
    status = serializers.ChoiceField(choices=BreedingStatus.choices)
    basis = serializers.CharField(allow_null=True)
    made_at = serializers.DateTimeField()


class AnimalSerializer(serializers.Serializer[Any]):
    """An animal under its keeper's own label."""

    id = serializers.UUIDField()
    species = serializers.CharField()
    label = serializers.CharField()  # type: ignore[assignment] # the name of a field
    sex = serializers.ChoiceField(choices=Sex.choices)
    genes = serializers.CharField(help_text="What is known of it now, canonical.")
    statuses = AnimalStatusSerializer(many=True, help_text="What breeding has shown, oldest first.")
