"""What a pairing can give."""

from __future__ import annotations

from typing import Any, Final

from django.http import HttpRequest, HttpResponse

from registry.errors import Place
from registry.forecasts.api.serializers import ForecastInSerializer, ForecastSerializer
from registry.forecasts.choices import LEVELS
from registry.forecasts.selectors import forecast_answer
from registry.pages.forms import PARENTS, TypedForm, checked, parent_typed, whole_number
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
        answer: Any = None
        if any(form[role] for role in PARENTS) or form["wanted"]:
            with form.noting(_field):
                given = checked(ForecastInSerializer, _body(form))
                answer = ForecastSerializer(forecast_answer(given)).data
        return self.page(
            {
                "form": form,
                "answer": answer,
                "looks": answer["looks"][:_SHOWN_AT_ONCE] if answer else [],
                "rarer": answer["looks"][_SHOWN_AT_ONCE:] if answer else [],
                "levels": LEVELS,
                "waits": [
                    (one, [one["hatchlings_for"][str(level)] for level in LEVELS])
                    for one in (answer["wanted"] if answer else ())
                ],
            },
            species=form["species"],
            status=422 if form.n_faults else 200,
        )


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
