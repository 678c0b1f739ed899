"""Shape of the answers to many clutches at once, for the document."""

from __future__ import annotations

from typing import Any

from drf_spectacular.utils import PolymorphicProxySerializer, extend_schema_field
from rest_framework import serializers

from registry.clutches.choices import MAX_BULK_CLUTCHES, Held


class BulkContradictionSerializer(serializers.Serializer[Any]):
    """An entry of hatchlings that is kept and not pooled where it contradicts the parents."""

    entry = serializers.IntegerField(min_value=1, help_text="Place among the entries, from 1.")
    call = serializers.CharField()
    count = serializers.IntegerField(min_value=1)
    reason = serializers.CharField(help_text="Why the parents as stated can not give it.")


class BulkAcceptedSerializer(serializers.Serializer[Any]):
    """A line whose clutch was stored, or would have been."""

    line = serializers.IntegerField(min_value=1, help_text="Line of the upload, from 1.")
    status = serializers.IntegerField(
        min_value=200,
        max_value=201,
        help_text="201: stored. 200, with `validate_only`: every check passed, nothing is stored.",
    )
    clutch = serializers.UUIDField(allow_null=True, help_text="Null with `validate_only`.")
    held = serializers.ChoiceField(
        choices=Held.choices, allow_null=True, help_text="Why it is in no pool; null if it counts."
    )
    contradicts_parents = serializers.IntegerField(
        help_text="Entries of hatchlings that the parents as stated can not give."
    )
    contradictions = BulkContradictionSerializer(many=True)


@extend_schema_field({"$ref": "#/components/schemas/Problem"})
class ProblemField(serializers.DictField):
    """A problem of RFC 9457 inside an answer."""


class BulkRefusedSerializer(serializers.Serializer[Any]):
    """A line that was refused; nothing of it is stored, and the others are not touched by it."""

    line = serializers.IntegerField(min_value=1)
    status = serializers.IntegerField(min_value=400, max_value=599)
    problem = ProblemField(
        help_text="A `Problem`, as the answer to one refused clutch. In a table its `errors` name "
        "`column`, `cell` and, for a list in a cell, `entry` instead of a pointer."
    )


class BulkCountsSerializer(serializers.Serializer[Any]):
    """What came of the lines."""

    lines = serializers.IntegerField(min_value=0, max_value=MAX_BULK_CLUTCHES)
    accepted = serializers.IntegerField(min_value=0)
    refused = serializers.IntegerField(min_value=0)


class BulkSummarySerializer(serializers.Serializer[Any]):
    """The last line. An answer without it was cut off."""

    summary = BulkCountsSerializer()


BULK_LINES = PolymorphicProxySerializer(
    component_name="BulkLine",
    serializers=[BulkAcceptedSerializer, BulkRefusedSerializer, BulkSummarySerializer],
    resource_type_field_name=None,
    many=True,
)
"""Lines of the answer, as the array that they are in the sense of a sequence of JSON texts."""
