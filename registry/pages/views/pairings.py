"""Pairings declared before they hatch."""

from __future__ import annotations

import uuid
from dataclasses import dataclass
from typing import Any, Final

from django.db import transaction
from django.db.models import Case, Count, Q, When
from django.http import HttpRequest, HttpResponse
from django.urls import reverse

from registry.keepers.models import Keeper
from registry.keepers.selectors import today
from registry.pages.forms import (
    PARENT_FIELDS,
    PARENTS,
    UNREAD,
    TypedForm,
    clutch_field,
    parent_typed,
    whole_number,
)
from registry.pages.lists import list_page
from registry.pages.views.base import PageView, see
from registry.pairings.api.serializers import PairingInSerializer, PairingSerializer
from registry.pairings.selectors import pairing_answer, pairing_list
from registry.pairings.services import pairing_declare

FIELDS: Final = ("species", "season", *PARENT_FIELDS)
_MOST_TO_CHOOSE: Final = 100


@dataclass(frozen=True, slots=True)
class PairingRow:
    """A declared pairing as it is answered, and how many clutches joined it."""

    answer: Any
    n_clutches: int
    is_over: bool
    is_ahead: bool

    @property
    def parents(self) -> str:
        """Sire and dam, by the keeper's labels where there are some."""
        sire, dam = (self.answer[role]["animal"] or self.answer[role]["genes"] for role in PARENTS)
        return f"{sire} \u00d7 {dam}"


def open_pairings(keeper: Keeper, chosen: str = "") -> list[PairingRow]:
    """Pairings that a report may join: the chosen one, then those without a clutch, newest first.

    A chosen one that has a clutch already is among them: a second clutch may join it.
    """
    wanted = Q(n_clutches=0)
    order: list[Any] = ["-season", "-declared_at", "pk"]
    if (chosen_id := id_typed(chosen)) is not None:
        wanted |= Q(pk=chosen_id)
        order.insert(0, Case(When(pk=chosen_id, then=0), default=1))
    own = _counted(keeper).filter(wanted).order_by(*order)
    return [_row(one) for one in own[:_MOST_TO_CHOOSE]]


def id_typed(text: str) -> uuid.UUID | None:
    """An id as an address or a form has it; None for what is none."""
    try:
        return uuid.UUID(text)
    except ValueError:
        return None


def _counted(keeper: Keeper) -> Any:
    return pairing_list(keeper).annotate(n_clutches=Count("clutches"))


def _row(pairing: Any) -> PairingRow:
    return PairingRow(
        answer=PairingSerializer(pairing_answer(pairing)).data,
        n_clutches=pairing.n_clutches,
        is_over=pairing.season < today().year,
        is_ahead=pairing.season > today().year,
    )


class PairingsView(PageView):
    """The keeper's own declared pairings."""

    section = "own"
    template = "pages/pairings.html"
    needs_keeper = True

    def get(self, request: HttpRequest) -> HttpResponse:
        """A page of them, the newest first."""
        page = list_page(request, _counted(self.own_keeper).order_by("-declared_at"))
        names = {one.key: one for one in self.all_species}
        rows = [_row(one) for one in page.rows]
        new = request.GET.get("new")
        return self.page(
            {
                "list": page,
                "rows": [(one, names.get(one.answer["species"])) for one in rows],
                "declared": next((one for one in rows if one.answer["id"] == new), None),
            }
        )


class DeclareView(PageView):
    """Declare a pairing: one step."""

    section = "own"
    template = "pages/declare.html"
    needs_keeper = True

    def get(self, request: HttpRequest) -> HttpResponse:
        """The form, empty or with what a forecast brings along."""
        form = TypedForm({name: request.GET.get(name, "") for name in FIELDS})
        form.typed["season"] = form["season"] or str(today().year)
        return self._shown(form, str(uuid.uuid4()))

    def post(self, request: HttpRequest) -> HttpResponse:
        """Declare it, or tell at which fields something is wrong."""
        form = TypedForm({name: request.POST.get(name, "") for name in FIELDS})
        press = request.POST.get("press") or None
        stand_ins = {"season": today().year, "sire": UNREAD, "dam": UNREAD}
        given = form.checked(PairingInSerializer, _body(form), clutch_field, stand_ins=stand_ins)
        if given is not None:
            with form.noting(clutch_field), transaction.atomic():
                declared = pairing_declare(self.own_keeper, given, press=press)
                if not form.n_faults:
                    return see(f"{reverse('pages:pairings')}?new={declared.pk}")
                transaction.set_rollback(True)
        return self._shown(form, press)

    def _shown(self, form: TypedForm, press: str | None) -> HttpResponse:
        context = {"form": form, "press": press}
        return self.page(context, species=form["species"], status=form.http_status)


def _body(form: TypedForm) -> dict[str, Any]:
    body: dict[str, Any] = {role: parent_typed(form, role) for role in PARENTS if form[role]}
    if form["species"]:
        body["species"] = form["species"]
    if form["season"]:
        body["season"] = whole_number(form["season"])
    return body
