"""Shapes of a keeper's own record."""

from __future__ import annotations

from typing import Any

from rest_framework import serializers

from registry.clutches.api.revision_serializers import (
    DuplicateSerializer,
    OpinionSerializer,
    RevisionSerializer,
)
from registry.clutches.api.serializers import ClutchSerializer
from registry.keepers.api.serializers import TokenSerializer
from registry.pairings.api.serializers import AnimalSerializer, PairingSerializer


class HoldSerializer(serializers.Serializer[Any]):
    """That a moderator holds the keeper's clutches back from the pools, and why."""

    since = serializers.DateField()
    reason = serializers.CharField()


class KeeperSerializer(serializers.Serializer[Any]):
    """A keeper's own record."""

    keeper = serializers.UUIDField()
    joined_on = serializers.DateField(help_text="Day (UTC).")
    held = HoldSerializer(allow_null=True, help_text="Null unless a moderator holds the clutches.")
    clutches = serializers.IntegerField(help_text="Clutches reported and not withdrawn.")
    pairings = serializers.IntegerField(help_text="Pairings declared.")
    animals = serializers.IntegerField(help_text="Animals named by a label.")
    tokens = serializers.IntegerField(help_text="Tokens not revoked, expired ones included.")


class RemovedSerializer(serializers.Serializer[Any]):
    """How much was removed."""

    clutches = serializers.IntegerField()
    pairings = serializers.IntegerField()
    animals = serializers.IntegerField()
    tokens = serializers.IntegerField()


class ReceiptSerializer(serializers.Serializer[Any]):
    """An erasure. Keep ``receipt`` to ask for it later: ``keepers/erasures/{receipt}/``."""

    erased_on = serializers.DateField(help_text="Day (UTC).")
    removed = RemovedSerializer()
    receipt = serializers.CharField(help_text="SHA-256 of the keeper's id, as text.")


class ExportTokenSerializer(TokenSerializer):
    """A token without its secret."""

    current = None  # type: ignore[assignment] # which one asked is no part of the record


class ExportRevisionSerializer(RevisionSerializer):
    """One state of a clutch."""

    clutch = serializers.UUIDField()


class ExportOpinionSerializer(OpinionSerializer):
    """A second opinion that the keeper gave."""

    taken_over_as = None  # type: ignore[assignment] # the business of the clutch's keeper


class ExportHoldSerializer(HoldSerializer):
    """That a moderator held the keeper's clutches, and until when."""

    released_on = serializers.DateField(allow_null=True, help_text="Null while it lasts.")


class ExportDraftSerializer(serializers.Serializer[Any]):
    """A report that was begun on the pages and not handed in."""

    touched_on = serializers.DateField(help_text="Day (UTC).")
    typed = serializers.DictField(
        child=serializers.CharField(allow_blank=True), help_text="Field of the form -> its text."
    )


class ExportSerializer(serializers.Serializer[Any]):
    """Everything of a keeper: each part a list, as its own call shows it."""

    keeper = serializers.UUIDField()
    joined_on = serializers.DateField(help_text="Day (UTC).")
    exported_on = serializers.DateField(help_text="Day (UTC).")
    tokens = ExportTokenSerializer(many=True)
    animals = AnimalSerializer(many=True)
    pairings = PairingSerializer(many=True)
    clutches = ClutchSerializer(many=True)
    revisions = ExportRevisionSerializer(many=True, help_text="Every state of every clutch.")
    opinions = ExportOpinionSerializer(many=True, help_text="Given on clutches of others.")
    duplicates = DuplicateSerializer(many=True)
    holds = ExportHoldSerializer(many=True, help_text="By moderators, past ones included.")
    drafts = ExportDraftSerializer(many=True, help_text="Begun on the pages, not handed in.")
