"""Fields that take JSON types as they are: no boolean for a number, no number for a text."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Iterable
from contextlib import suppress
from typing import Any, Final
from uuid import UUID

from rest_framework import serializers

from genetics.errors import listed
from registry.api.faults import RuleCode
from registry.api.nearest import nearest_names
from registry.wording import counted

_MOST_SHOWN = 60
_DAY: Final = re.compile("[0-9]{4}-[0-9]{2}-[0-9]{2}")


def shown(value: Any) -> str:
    """What was read, short enough for a sentence."""
    if value is None or isinstance(value, bool):
        return {None: "null", True: "true", False: "false"}[value]
    if isinstance(value, dict):
        return "an object"
    if isinstance(value, list):
        return "a list"
    text = repr(value)
    return text if len(text) <= _MOST_SHOWN else f"{text[:_MOST_SHOWN]}..."


class CountField(serializers.IntegerField):
    """A whole number from ``min`` to ``max``, both included.

    3.0, "3" and true are refused: a count that was no count in the caller's program is likely to
    be a mistake there.
    """

    def __init__(self, *, min: int = 0, max: int, **kwargs: Any) -> None:  # noqa: A002 - the range
        super().__init__(min_value=min, max_value=max, **kwargs)
        self.range = (min, max)

    def to_internal_value(self, data: Any) -> int:
        """The number itself."""
        low, high = self.range
        if isinstance(data, bool) or not isinstance(data, int) or not low <= data <= high:
            raise serializers.ValidationError(
                f"Read {shown(data)}, expected a whole number from {low} to {high}.",
                code="whole-number",
            )
        return data


class ChanceField(serializers.FloatField):
    """A number from 0 to 1, both included; true and texts are refused."""

    def __init__(self, **kwargs: Any) -> None:
        super().__init__(min_value=0.0, max_value=1.0, **kwargs)

    def to_internal_value(self, data: Any) -> float:
        """The number as a float."""
        if isinstance(data, bool) or not isinstance(data, (int, float)) or not 0 <= data <= 1:
            raise serializers.ValidationError(
                f"Read {shown(data)}, expected a number from 0 to 1.", code="chance"
            )
        return float(data)


class TextField(serializers.CharField):
    """A text of 1 to ``max_length`` characters after blanks at both ends are cut off."""

    def __init__(self, *, max_length: int, **kwargs: Any) -> None:
        super().__init__(max_length=max_length, **kwargs)
        self.error_messages["blank"] = "Read an empty text, expected at least one character."
        self.most = max_length

    def to_internal_value(self, data: Any) -> str:
        """The text without blanks at its ends."""
        if not isinstance(data, str):
            raise serializers.ValidationError(f"Read {shown(data)}, expected a text.", code="text")
        text = data.strip()
        if len(text) > self.most:
            raise serializers.ValidationError(
                f"Read a text of {len(text)} characters, expected at most {self.most}.",
                code="max-length",
            )
        return text


SOME_ID: Final = "01234567-89ab-4def-8123-456789abcdef"
"""An id as it is written, for sentences."""


def is_id(text: str) -> bool:
    """Whether a text is an id as this service gives them out."""
    try:
        UUID(text)
    except ValueError:
        return False
    return True


class IdField(serializers.UUIDField):
    """An id that this service gave out; ``of`` says in words what it is the id of."""

    def __init__(self, *, of: str, **kwargs: Any) -> None:
        super().__init__(**kwargs)
        self.of = of

    def to_internal_value(self, data: Any) -> UUID:
        """The id; a number is refused."""
        if not isinstance(data, str) or not is_id(data):
            raise serializers.ValidationError(
                f"Read {shown(data)}, expected the id of {self.of}, such as {SOME_ID!r}.",
                code="id",
            )
        return UUID(data)


class ListOfField(serializers.ListField):
    """A list of as many entries as it may have."""

    def to_internal_value(self, data: Any) -> list[Any]:
        """Every entry read; all their faults together."""
        if not isinstance(data, list):
            raise serializers.ValidationError(f"Read {shown(data)}, expected a list.", code="list")
        least, most = self.min_length or 0, self.max_length
        if len(data) < least or (most is not None and len(data) > most):
            expected = f"{most}" if least == most else f"at most {most}"
            raise serializers.ValidationError(
                f"Read a list of {counted(len(data), 'entry', 'entries')}, expected {expected}.",
                code="length",
            )
        return list(super().to_internal_value(data))


class ObjectOfField(serializers.DictField):
    """An object whose names the caller chooses."""

    def to_internal_value(self, data: Any) -> dict[str, Any]:
        """Every value read, by its name."""
        if not isinstance(data, dict):
            raise serializers.ValidationError(
                f"Read {shown(data)}, expected an object.", code="object"
            )
        return dict(super().to_internal_value(data))


class FlagField(serializers.BooleanField):
    """true or false; 1, "yes" and the like are refused."""

    def to_internal_value(self, data: Any) -> bool:
        """The flag itself."""
        if not isinstance(data, bool):
            raise serializers.ValidationError(
                f"Read {shown(data)}, expected true or false.", code="flag"
            )
        return data


class NameField(serializers.ChoiceField):
    """One name of a fixed list (the values of a ``TextChoices``)."""

    def __init__(self, choices: Iterable[Any], **kwargs: Any) -> None:
        super().__init__(choices=list(choices), **kwargs)

    def to_internal_value(self, data: Any) -> str:
        """The name itself."""
        names = [str(name) for name in self.choices]
        if isinstance(data, str) and data in names:
            return data
        near = nearest_names(data, names) if isinstance(data, str) else []
        raise serializers.ValidationError(
            f"Read {shown(data)}, expected {listed(names)}.",
            code=RuleCode("name", allowed=names, suggestions=near),
        )


class DayField(serializers.DateField):
    """A day as RFC 3339 writes it, ``2026-05-31``; no other form of a date, and no number."""

    def to_internal_value(self, value: Any) -> dt.date:
        """The day itself."""
        if isinstance(value, str) and _DAY.fullmatch(value):
            with suppress(ValueError):
                return dt.date.fromisoformat(value)
        raise serializers.ValidationError(
            f"Read {shown(value)}, expected a day like '2026-05-31'.", code="day"
        )
