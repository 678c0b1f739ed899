"""Parts that many pages have: a line of a form, a state, a caution; and numbers in words."""

from __future__ import annotations

import json
from typing import Any, Final

from django import template

from registry.pages.forms import TypedForm
from registry.pages.numerals import raised
from registry.wording import percent_text
from registry.wording import were as with_verb

register = template.Library()

NOT_TOLD: Final = "\u2013"
_SMALL: Final = 0.01
_LARGE: Final = 999.5
_WRITTEN_OUT: Final = 1e6

STATES: Final = {
    "no-reports": "no reports",
    "too-early": "too early to tell",
    "as-expected": "as expected",
    "watch": "on watch",
    "flagged": "flagged",
}


@register.inclusion_tag("pages/parts/line.html")
def line(form: TypedForm, name: str, label: str, **more: Any) -> dict[str, Any]:
    """A field with label, note and faults.

    ``kind`` is ``text`` (as it is), ``number``, ``area`` or ``date``; ``note`` explains;
    ``required``; ``suggest`` is ``genes`` for suggestions while typing, where there is script;
    ``rows`` of an area.
    """
    return {
        "name": name,
        "label": label,
        "value": form[name],
        "faults": form.faults.get(name, ()),
        "kind": "text",
        **more,
    }


@register.inclusion_tag("pages/parts/species.html")
def species_line(form: TypedForm, all_species: Any) -> dict[str, Any]:
    """The choice of a species."""
    return {
        "value": form["species"],
        "faults": form.faults.get("species", ()),
        "all_species": all_species,
    }


@register.inclusion_tag("pages/parts/faults.html")
def form_faults(
    form: TypedForm, *, asks: bool = False, told: str = "nothing was stored"
) -> dict[str, Any]:
    """How many faults there are, and those of the form as a whole.

    A form that only ``asks`` stores nothing anyway, so that is not said; ``told`` is what is said
    of another one.
    """
    return {
        "n_faults": form.n_faults,
        "faults": form.faults.get("", ()),
        "told": "" if asks else told,
    }


@register.inclusion_tag("pages/parts/state.html")
def state(word: str) -> dict[str, Any]:
    """The state of a combination, in words."""
    return {"word": word, "text": STATES.get(word, word)}


@register.inclusion_tag("pages/parts/cautions.html")
def cautions(found: Any, advice: str | None = None) -> dict[str, Any]:
    """Cautions with their sources, and what to do."""
    return {"cautions": found, "advice": advice}


@register.filter
def number(value: float | None) -> str:
    """A number to read: whole ones with separators, others with three digits that count."""
    if value is None:
        return NOT_TOLD
    size = abs(value)
    if value == 0 or (float(value).is_integer() and size < _WRITTEN_OUT):
        return f"{int(value):,}"
    if _SMALL <= size < _LARGE:
        return f"{value:.3g}"
    if _LARGE <= size < _WRITTEN_OUT:
        return f"{value:,.0f}"
    return _power(value)


@register.filter
def were(shown: str) -> str:
    """The verb after a number as it is shown."""
    return with_verb(shown)


def _power(value: float) -> str:
    digits, _e, power = f"{value:.1e}".partition("e")
    return f"{digits} \u00d7 10{raised(int(power))}"


@register.filter
def percent(chance: float | None) -> str:
    """A chance from 0 to 1 in per cent."""
    return NOT_TOLD if chance is None else percent_text(chance)


@register.filter
def keepers(n_keepers: int | None) -> str:
    """How many keepers, as far as it is told."""
    if n_keepers is None:
        return "fewer than 3 keepers"
    return f"{n_keepers:,} keeper{'' if n_keepers == 1 else 's'}"


@register.filter
def exact(value: float | None) -> str:
    """A number as JSON has it, for whoever reads the page by program; empty for null."""
    return "" if value is None else json.dumps(value)
