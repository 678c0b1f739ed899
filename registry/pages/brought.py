"""A clutch on its way into the report form, carried by the forms of the pages alone.

An address is too short for a clutch of many calls, and a report belongs to a keeper, whom somebody
at a clutch in hand may have to become first. So what was typed goes along in the body of each form
on the way: from the clutch in hand, through signing in, joining or coming back, to the report.
Nothing of it is stored, and no script is needed.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from registry.clutches.choices import EGGS
from registry.errors import InvalidBodyError
from registry.pages.forms import PARENT_FIELDS

ACT: Final = "act"
BRING: Final = "bring"
"""The act of a form that brings a clutch along."""

FIELDS: Final = (
    "species",
    "season",
    "pairing",
    *PARENT_FIELDS,
    *EGGS,
    "hatchlings",
    "clutch_code",
)
_MOST_OF_A_FIELD: Final = 20_000
"""Characters of a field that are kept; no clutch needs as many."""


def typed_in(given: Mapping[str, str]) -> dict[str, str]:
    """The fields of a report; an address or a form may name some of them only.

    Raises
    ------
    InvalidBodyError
        A text that is longer than any clutch needs.
    """
    typed = {name: given.get(name, "").strip() for name in FIELDS}
    for name, text in typed.items():
        if len(text) > _MOST_OF_A_FIELD:
            # Cut to what fits, it could be understood as another clutch.
            raise InvalidBodyError(
                f"The field {name!r} holds {len(text):,} characters, expected at most "
                f"{_MOST_OF_A_FIELD:,}. Nothing was kept."
            )
    return typed


def brought_in(posted: Mapping[str, str]) -> dict[str, str] | None:
    """What a form brings along, without its empty fields; None if it brings nothing."""
    if posted.get(ACT) != BRING:
        return None
    return {name: text for name, text in typed_in(posted).items() if text}
