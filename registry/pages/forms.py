"""What was typed on a page, as the body that the interface takes; and its faults, by field.

The pages have no rules of their own: a body goes through the serializer and the service of the
interface, and each fault comes back to the field it was read in.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from http import HTTPStatus
from typing import Any, Final

from django.core.exceptions import ValidationError
from rest_framework.exceptions import APIException
from rest_framework.exceptions import ValidationError as RestValidationError

from registry.api.problems import problem_of
from registry.api.serializers import StrictSerializer
from registry.catalogue.selectors import bracketed_names
from registry.clutches.bulk.hatchlings import hatchlings_read
from registry.clutches.choices import EGGS
from registry.errors import Place, RegistryError, TooManyRequestsError

Typed = Mapping[str, str]

PARENTS: Final = ("sire", "dam")
PARENT_FIELDS: Final = tuple(
    f"{role}{part}" for role in PARENTS for part in ("", "_animal", "_unproven")
)

UNREAD: Final = {"genes": "normal"}
"""Stands for a parent that is not there, while the rest of a form is read."""

REFUSALS: Final = (RegistryError, ValidationError, APIException, ValueError)
"""What serializers, services and the genetics refuse with."""


_PARTS: Final = frozenset({"typed", "faults", "n_faults", "http_status"})


class TypedForm:
    """What was typed, kept whatever is wrong with it, with its faults by name of the field."""

    def __init__(self, typed: Typed) -> None:
        self.typed = {name: text.strip() for name, text in typed.items()}
        self.faults: dict[str, list[str]] = {}
        self.entries_read: tuple[int, ...] = ()
        """Of the entries of hatchlings that could be read, their places among all, from 0."""
        self._refused_with = HTTPStatus.UNPROCESSABLE_ENTITY

    def __getitem__(self, name: str) -> str:
        """What was typed in a field; empty if nothing was."""
        if name in _PARTS:  # templates look for an item of this name before they see the attribute
            raise KeyError(name)
        return self.typed.get(name, "")

    def fault(self, name: str, text: str) -> None:
        """Note a fault; the empty name stands for the form as a whole."""
        texts = self.faults.setdefault(name, [])
        if text not in texts:
            texts.append(text)

    @property
    def n_faults(self) -> int:
        """Of all fields."""
        return sum(len(texts) for texts in self.faults.values())

    @property
    def http_status(self) -> HTTPStatus:
        """What the page with the form goes out with: refused, too many, or as it should be."""
        return self._refused_with if self.n_faults else HTTPStatus.OK

    @contextmanager
    def noting_parameters(self) -> Iterator[None]:
        """Note what is refused inside at the fields that are named as its parameters.

        A parameter without a field, such as a page's cursor, is a fault of the form. What is no
        parameter's fault, such as a board that is not up to date yet, goes on as it is.
        """
        try:
            yield
        except REFUSALS as error:
            problem = problem_of(error)
            if problem is None or not problem.faults:
                raise
            for one in problem.faults:
                has_field = one.parameter in self.typed
                self.fault(one.parameter or "" if has_field else "", one.detail)

    def checked(
        self,
        serializer_class: type[StrictSerializer],
        body: Mapping[str, Any],
        named: Callable[[Place], tuple[str, str]],
        *,
        stand_ins: Mapping[str, Any],
    ) -> Any:
        """A body as its call validates it, with every fault noted; None if nothing can be read.

        A member that is at fault is replaced by its stand-in, so that the words beside it are read
        as well and a keeper is told everything at once. With ``n_faults`` the result is for reading
        only.
        """
        for given in (body, None):
            serializer = serializer_class(data=body if given is None else given)
            if serializer.is_valid():
                return serializer.validated_data
            wrong = set(serializer.errors)
            with self.noting(named):
                raise RestValidationError(serializer.errors)
            if not wrong <= set(stand_ins):
                return None
            body = {name: one for name, one in body.items() if name not in wrong}
            body |= {name: stand_ins[name] for name in wrong if stand_ins[name] is not None}
        return None

    def _as_typed(self, place: Place) -> Place:
        """A place in a body, with the entry of hatchlings counted as it was typed."""
        first, *rest = place or ("",)
        if first != "hatchlings" or not rest or not isinstance(rest[0], int):
            return place
        number = rest[0]
        known = self.entries_read
        return (first, known[number] if number < len(known) else number, *rest[1:])

    @contextmanager
    def noting(self, named: Callable[[Place], tuple[str, str]]) -> Iterator[None]:
        """Note what is refused inside; ``named`` gives field and beginning of the text of a place.

        What is nobody's fault but the service's goes on as it is.
        """
        try:
            yield
        except REFUSALS as error:
            problem = problem_of(error)
            if problem is None:
                raise
            if isinstance(error, TooManyRequestsError):
                self._refused_with = HTTPStatus.TOO_MANY_REQUESTS
            if not problem.faults:
                self.fault("", problem.detail)
            for one in problem.faults:
                field, beginning = named(self._as_typed(one.place or ()))
                self.fault(field, f"{beginning}{one.detail}")


def checked(serializer_class: type[StrictSerializer], body: Mapping[str, Any]) -> Any:
    """A body as its call validates it. Raises what the serializer refuses."""
    serializer = serializer_class(data=body)
    serializer.is_valid(raise_exception=True)
    return serializer.validated_data


# --- a clutch -----------------------------------------------------------------------------------


def clutch_body(form: TypedForm) -> dict[str, Any]:
    """The body of a clutch, from fields named as the columns of the table for many clutches.

    Entries of ``hatchlings`` that can't be read are noted as faults of the form.
    """
    body: dict[str, Any] = {"hatchlings": hatchlings_typed_in(form)}
    if form["species"]:
        body["species"] = form["species"]
    if form["season"]:
        body["season"] = whole_number(form["season"])
    for role in PARENTS:
        if parent := parent_typed(form, role):
            body[role] = parent
    if eggs := {name: whole_number(form[name]) for name in EGGS if form[name]}:
        body["eggs"] = eggs
    for name in ("clutch_code", "pairing"):
        if form[name]:
            body[name] = form[name]
    return body


def parent_typed(form: TypedForm, role: str) -> dict[str, Any]:
    """A sire or dam as it was typed."""
    parent: dict[str, Any] = {}
    if form[role]:
        parent["genes"] = form[role]
    if form[f"{role}_animal"]:
        parent["animal"] = form[f"{role}_animal"]
    if unproven := [one.strip() for one in form[f"{role}_unproven"].split(",") if one.strip()]:
        parent["unproven"] = unproven
    return parent


def hatchlings_typed_in(form: TypedForm) -> list[dict[str, Any]]:
    """Entries of hatchlings, one look a line; those that can't be read are noted as faults."""
    names = bracketed_names(form["species"])
    read = hatchlings_read(form["hatchlings"], lambda words: words.strip().casefold() in names)
    refused = {place for place, _error in read.refusals}
    places = range(len(read.entries) + len(refused))
    form.entries_read = tuple(place for place in places if place not in refused)
    for place, error in read.refusals:
        form.fault("hatchlings", f"Entry {place + 1}: {error.message}")
    return list(read.entries)


_MOST_DIGITS: Final = 30
"""No number of a form has as many, and Python refuses to read ones of some thousand."""


def whole_number(text: str) -> int | str:
    """A whole number; what is none stays as it was typed, for the serializer to refuse."""
    is_number = text.isascii() and text.isdecimal() and len(text) <= _MOST_DIGITS
    return int(text) if is_number else text


def clutch_field(place: Place) -> tuple[str, str]:
    """Field and beginning of the text for a fault at a place in the body of a clutch."""
    first, *rest = place or ("",)
    if first in PARENTS:
        is_label = rest[:1] == ["animal"]
        part = rest[0] if rest and rest[0] == "unproven" else "animal" if is_label else ""
        return (f"{first}_{part}" if part else str(first)), ""
    if first == "eggs":
        return (str(rest[0]) if rest and rest[0] in EGGS else "laid"), ""
    if first == "hatchlings" and rest and isinstance(rest[0], int):
        return "hatchlings", f"Entry {rest[0] + 1}: "
    return str(first), ""
