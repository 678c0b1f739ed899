"""Bodies read strictly: a field that the call does not know is an error, never ignored."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from rest_framework import serializers

from genetics.errors import listed
from registry.api.faults import RuleCode
from registry.api.fields import shown
from registry.api.nearest import nearest_names
from registry.errors import ErrorCode

_REQUIRED = "The field is missing."
_NULL = "Read null, expected a value."
_OWN_WORDS = {"required": _REQUIRED, "null": _NULL}
_MOST_UNKNOWN = 20


class StrictSerializer(serializers.Serializer[Any]):
    """Base of every body that is read.

    Unknown fields are refused together with all other faults, each with the nearest known name.
    Shape and type only: what the words mean is for services.
    """

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.error_messages |= _OWN_WORDS

    def get_fields(self) -> dict[str, serializers.Field[Any, Any, Any, Any]]:
        """Fields with our own words for a missing value and null."""
        fields = super().get_fields()
        for one in fields.values():
            one.error_messages |= _OWN_WORDS
            if isinstance(one, serializers.ListField | serializers.DictField):
                one.child.error_messages |= _OWN_WORDS
        return fields

    def to_internal_value(self, data: Any) -> Any:
        """Validated values; all faults together."""
        if not isinstance(data, Mapping):
            raise serializers.ValidationError(
                {"non_field_errors": [f"Read {shown(data)}, expected an object."]}, code="object"
            )
        unknown = self._unknown_fields(data)
        try:
            values = super().to_internal_value(data)
        except serializers.ValidationError as error:
            if not isinstance(error.detail, dict):
                raise
            raise serializers.ValidationError({**error.detail, **unknown}) from error
        if unknown:
            raise serializers.ValidationError(unknown)
        return values

    def _unknown_fields(self, data: Mapping[str, Any]) -> dict[str, Any]:
        known = [name for name, one in self.fields.items() if not one.read_only]
        names = [name for name in data if name not in known]
        return {name: [_unknown(name, known)] for name in names[:_MOST_UNKNOWN]}


def _unknown(name: str, known: list[str]) -> serializers.ErrorDetail:
    near = nearest_names(name, known)
    hint = f" Did you mean {listed(near)}?" if near else ""
    others = f"known are {listed(known, joiner='and')}" if known else "none is expected"
    return serializers.ErrorDetail(
        f"There is no field {shown(name)} here; {others}.{hint}",
        code=RuleCode(ErrorCode.UNKNOWN_FIELD, suggestions=near, known=known),
    )
