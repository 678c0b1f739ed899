"""Pairings declared before they hatch."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

from django.db.models import Count
from django.http import HttpRequest, HttpResponse
from django.urls import reverse

from registry.keepers.models import Keeper
from registry.keepers.selectors import today
from registry.pages.forms import (
    PARENTS,
    TypedForm,
    checked,
    clutch_field,
    parent_typed,
    whole_number,
)
from registry.pages.lists import list_page
from registry.pages.views.base import PageView, see
from registry.pairings.api.serializers import PairingInSerializer, PairingSerializer
from registry.pairings.models import Pairing
from registry.pairings.selectors import pairing_answer, pairing_list
from registry.pairings.services import pairing_declare

FIELDS: Final = (
    "species",
    "season",
    "sire",
    "sire_animal",
    "sire_unproven",
    "dam",
    "dam_animal",
    "dam_unproven",
)
_MOST_TO_CHOOSE: Final = 100


@dataclass(frozen=True, slots=True)
class PairingRow:
    """A declared pairing as it is answered, and how many clutches joined it."""

    answer: Any
    n_clutches: int
    is_over: bool


def open_pairings(keeper: Keeper) -> list[PairingRow]:
    """Pairings without a clutch, the newest first; those that a report may join."""
    own = _counted(keeper).filter(n_clutches=0).order_by("-season", "-declared_at", "pk")
    return [_row(one) for one in own[:_MOST_TO_CHOOSE]]


def _counted(keeper: Keeper) -> Any:
    return pairing_list(keeper).annotate(n_clutches=Count("clutches"))


def _row(pairing: Any) -> PairingRow:
    return PairingRow(
        answer=PairingSerializer(pairing_answer(pairing)).data,
        n_clutches=pairing.n_clutches,
        is_over=pairing.season < today().year,
    )


class PairingsView(PageView):
    """The keeper's own declared pairings."""

    section = "own"
    template = "pages/pairings.html"
    needs_keeper = True

    def get(self, request: HttpRequest) -> HttpResponse:
        """A page of them, the newest first."""
        page = list_page(request, _counted(self.own_keeper).order_by("-declared_at"))
        return self.page({"list": page, "rows": [_row(one) for one in page.rows]})


class DeclareView(PageView):
    """Declare a pairing: one step."""

    section = "own"
    template = "pages/declare.html"
    needs_keeper = True

    def get(self, request: HttpRequest) -> HttpResponse:
        """The form, empty or with what a forecast brings along."""
        form = TypedForm({name: request.GET.get(name, "") for name in FIELDS})
        form.typed["season"] = form["season"] or str(today().year)
        return self.page({"form": form}, species=form["species"])

    def post(self, request: HttpRequest) -> HttpResponse:
        """Declare it, or tell at which fields something is wrong."""
        form = TypedForm({name: request.POST.get(name, "") for name in FIELDS})
        declared: Pairing | None = None
        with form.noting(clutch_field):
            declared = pairing_declare(self.own_keeper, checked(PairingInSerializer, _body(form)))
        if declared is None:
            return self.page({"form": form}, species=form["species"], status=422)
        return see(f"{reverse('pages:pairings')}?new={declared.pk}")


def _body(form: TypedForm) -> dict[str, Any]:
    body: dict[str, Any] = {role: parent_typed(form, role) for role in PARENTS if form[role]}
    if form["species"]:
        body["species"] = form["species"]
    if form["season"]:
        body["season"] = whole_number(form["season"])
    return body
