"""The single faults of a problem: which field or parameter, what was wrong.

REST framework reports faults as nested dicts and lists. Lists of objects come in two shapes, one
entry per item (empty for a good one) or, from version 3.18 on, a dict by index; both are read.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any, Final, Self

from django.core.exceptions import NON_FIELD_ERRORS
from django.core.exceptions import ValidationError as ModelValidationError
from rest_framework.settings import api_settings

from registry.api.pointers import json_pointer
from registry.errors import ErrorCode, Place, PlacedError, error_code

_OWN_MEMBERS: Final = frozenset({"pointer", "parameter", "code", "detail"})
_CODES: Final = {str(code): code for code in ErrorCode}


@dataclass(frozen=True, slots=True)
class Fault:
    """One fault: read in the body at ``place`` (None: nowhere in it), or in ``parameter``.

    ``spoken`` names a place that no pointer can, such as a column of a table.
    """

    code: ErrorCode
    detail: str
    place: Place | None = None
    parameter: str | None = None
    extras: Mapping[str, object] = field(default_factory=dict)
    spoken: str = ""

    @property
    def where(self) -> str:
        """The place in words: parameter, column or path of the field; empty for the whole body."""
        if self.parameter is not None:
            return f"parameter {self.parameter}"
        if self.spoken:
            return self.spoken
        return "/".join(str(step) for step in self.place or ())

    def document(self) -> dict[str, object]:
        """The fault as JSON."""
        known: dict[str, object] = {}
        if self.parameter is not None:
            known["parameter"] = self.parameter
        elif self.place is not None:
            known["pointer"] = json_pointer(self.place)
        known |= {"code": str(self.code), "detail": self.detail}
        extra = {name: v for name, v in self.extras.items() if name not in _OWN_MEMBERS}
        return {**known, **extra}


class RuleCode(str):
    """Code of a REST framework error that carries further members of the fault.

    The framework rebuilds its errors from text and code only, so the code is what survives.
    """

    __slots__ = ("extras",)
    extras: dict[str, object]

    def __new__(cls, code: str, **extras: object) -> Self:
        """Code with members such as ``suggestions`` or ``allowed``."""
        rule = super().__new__(cls, code)
        rule.extras = extras
        return rule


def placed_fault(placed: PlacedError) -> Fault:
    """A refusal with its place as a fault."""
    return Fault(
        code=error_code(placed.error.code),
        detail=placed.error.message,
        place=None if placed.parameter is not None else placed.place,
        parameter=placed.parameter,
        extras=placed.error.details(),
    )


def body_faults(detail: Any) -> list[Fault]:
    """Faults of a body, from the ``detail`` of REST framework's ValidationError."""
    return [
        _rest_fault(message, fallback=ErrorCode.INVALID_BODY, place=place)
        for place, message in _flat(detail, ())
    ]


def parameter_faults(detail: Any) -> list[Fault]:
    """Faults of query parameters, from the ``detail`` of REST framework's ValidationError."""
    return [
        _rest_fault(
            message,
            fallback=ErrorCode.INVALID_PARAMETER,
            parameter=str(place[0]) if place else None,
        )
        for place, message in _flat(detail, ())
    ]


def model_faults(error: ModelValidationError) -> list[Fault]:
    """Faults of a model's ``full_clean``, by field."""
    if hasattr(error, "error_dict"):
        pairs: Iterable[tuple[str, list[str]]] = error.message_dict.items()
    else:
        pairs = [(NON_FIELD_ERRORS, error.messages)]
    return [
        Fault(ErrorCode.INVALID_BODY, text, place=() if name == NON_FIELD_ERRORS else (name,))
        for name, texts in pairs
        for text in texts
    ]


def _flat(detail: Any, place: Place) -> Iterator[tuple[Place, Any]]:
    """Messages with their places, in order, whatever the nesting."""
    if isinstance(detail, Mapping):
        for key, inner in detail.items():
            whole = key == api_settings.NON_FIELD_ERRORS_KEY
            yield from _flat(inner, place if whole else (*place, key))
    elif isinstance(detail, (list, tuple)):
        for index, inner in enumerate(detail):
            # A list of messages belongs to the place itself, one of containers to its items.
            is_container = isinstance(inner, (Mapping, list, tuple))
            yield from _flat(inner, (*place, index) if is_container else place)
    else:
        yield place, detail


def _rest_fault(
    message: Any,
    *,
    fallback: ErrorCode,
    place: Place | None = None,
    parameter: str | None = None,
) -> Fault:
    rule = getattr(message, "code", None) or "invalid"
    extras = dict(getattr(rule, "extras", {}))
    code = _CODES.get(str(rule), fallback)
    if code is fallback and str(rule) != str(fallback):
        extras.setdefault("rule", str(rule).replace("_", "-"))
    return Fault(code, str(message), place, parameter, extras)
