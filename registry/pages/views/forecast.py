"""What a pairing can give."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

from django.http import HttpRequest, HttpResponse

from registry.combinations.selectors import combinations_named
from registry.errors import Place
from registry.forecasts.api.serializers import ForecastInSerializer, ForecastSerializer
from registry.forecasts.choices import LEVELS
from registry.forecasts.selectors import forecast_answer
from registry.pages.forms import PARENTS, UNREAD, TypedForm, parent_typed, whole_number
from registry.pages.views.base import PageView

FIELDS: Final = (
    "species",
    "sire",
    "sire_unproven",
    "dam",
    "dam_unproven",
    "clutch_size",
    "wanted",
)
_SHOWN_AT_ONCE: Final = 20
"""Looks; the rarer ones are folded away."""


class ForecastView(PageView):
    """A forecast: an address of its own, so that it can be kept."""

    section = "forecast"
    template = "pages/forecast.html"

    def get(self, request: HttpRequest) -> HttpResponse:
        """The form, and the forecast once both parents are there."""
        form = TypedForm({name: request.GET.get(name, "") for name in FIELDS})
        answer = None
        if any(form[role] for role in PARENTS) or form["wanted"]:
            answer = _forecast(form)
        looks = _looks(answer) if answer else []
        return self.page(
            {
                "form": form,
                "answer": answer,
                "looks": looks[:_SHOWN_AT_ONCE],
                "rarer": looks[_SHOWN_AT_ONCE:],
                "levels": LEVELS,
                "waits": [
                    (one, [one["hatchlings_for"][str(level)] for level in LEVELS])
                    for one in (answer["wanted"] if answer else ())
                ],
            },
            species=form["species"],
            status=422 if form.n_faults else 200,
        )


def _forecast(form: TypedForm) -> Any:
    """The answer; None, and faults at their fields, if there is any."""
    given = form.checked(ForecastInSerializer, _body(form), _field, stand_ins=_STAND_INS)
    answer: Any = None
    if given is not None:
        with form.noting(_field):
            answer = ForecastSerializer(forecast_answer(given)).data
    return None if form.n_faults else answer


def _looks(answer: Mapping[str, Any]) -> list[tuple[Mapping[str, Any], str | None]]:
    """Each look, and the combination to ask for; None for a normal one and one of many genes."""
    named = combinations_named(answer["species"], {one["look"] for one in answer["looks"]})
    return [(one, named.get(one["look"])) for one in answer["looks"]]


_STAND_INS: Final = {"sire": UNREAD, "dam": UNREAD, "clutch_size": None, "wanted": None}


def _body(form: TypedForm) -> dict[str, Any]:
    body: dict[str, Any] = {role: parent_typed(form, role) for role in PARENTS if form[role]}
    if form["species"]:
        body["species"] = form["species"]
    if form["clutch_size"]:
        body["clutch_size"] = whole_number(form["clutch_size"])
    if wanted := [one.strip() for one in form["wanted"].splitlines() if one.strip()]:
        body["wanted"] = wanted
    return body


def _field(place: Place) -> tuple[str, str]:
    first, *rest = place or ("",)
    if first == "wanted" and rest and isinstance(rest[0], int):
        return "wanted", f"Line {rest[0] + 1}: "
    if first in PARENTS and rest[:1] == ["unproven"]:
        return f"{first}_unproven", ""
    return str(first), ""
