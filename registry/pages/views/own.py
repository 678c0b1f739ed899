"""A keeper's own clutches: list, one with its history, revise, withdraw, duplicates."""

from __future__ import annotations

import uuid
from http import HTTPStatus
from typing import Any, Final

from django.db.models import QuerySet
from django.http import HttpRequest, HttpResponse
from django.urls import reverse

from registry.catalogue.selectors import species_asked
from registry.clutches.api.filters import ClutchFilter
from registry.clutches.api.revision_serializers import (
    DuplicateSerializer,
    OpinionSerializer,
    RevisionInSerializer,
    RevisionSerializer,
    VerdictSerializer,
)
from registry.clutches.api.serializers import ClutchSerializer
from registry.clutches.choices import Verdict
from registry.clutches.models import Clutch, LikelyDuplicate
from registry.clutches.selectors import (
    clutch_answer,
    clutch_get,
    clutch_list,
    duplicate_answer,
    duplicate_list,
    opinion_answer,
    opinion_list,
    revision_answer,
    revision_list,
)
from registry.clutches.services.breeding import animal_bred
from registry.clutches.services.duplicates import duplicate_decide
from registry.clutches.services.revising import clutch_revise
from registry.errors import Place, PreconditionFailedError
from registry.pages.changes import changes_told
from registry.pages.forms import TypedForm, checked, whole_number
from registry.pages.lists import ListPage, list_page
from registry.pages.selectors import clutches_by_id, duplicates_waiting, informed_by
from registry.pages.states import same_state, state_of
from registry.pages.views.base import PageView, see
from registry.pages.written import hatchlings_typed
from registry.pairings.api.serializers import AnimalSerializer, BredInSerializer
from registry.pairings.models import Animal
from registry.pairings.selectors import animal_answer, animal_get
from registry.traffic.limits import REVISIONS, capped

_FILTERS: Final = ("species", "season")
_NOBODY: Final = uuid.UUID(int=0)
"""An id that belongs to nothing."""


def clutch_shown(clutch: Clutch) -> Any:
    """A clutch as the interface shows it."""
    return ClutchSerializer(clutch_answer(clutch)).data


def animal_shown(animal: Animal) -> Any:
    """An animal as the interface shows it."""
    return AnimalSerializer(animal_answer(animal)).data


def clutch_revised(view: PageView, clutch_id: uuid.UUID, given: Any, state: str) -> None:
    """Store a new state of a clutch, counted for the day, if it is still as it was shown."""
    with capped(REVISIONS, view.caller):
        clutch_revise(
            view.own_keeper,
            clutch_id,
            given,
            unchanged=lambda now: same_state(clutch_shown(now), state),
        )


class ClutchesView(PageView):
    """The keeper's own clutches, the newest first."""

    section = "own"
    template = "pages/clutches.html"
    needs_keeper = True

    def get(self, request: HttpRequest) -> HttpResponse:
        """A page of them, by species and season if wanted."""
        form = TypedForm({name: request.GET.get(name, "") for name in _FILTERS})
        page = ListPage([], None, None)
        with form.noting_parameters():
            page = list_page(request, self._wanted(form))
        for name in form.faults.keys() - {*_FILTERS}:  # of the address: there is no field for it
            for text in form.faults.pop(name):
                form.fault("", text)
        names = {one.key: one for one in self.all_species}
        rows = [clutch_shown(one) for one in page.rows]
        return self.page(
            {
                "form": form,
                "list": page,
                "rows": [(one, names.get(one["species"]), _n_contradicting(one)) for one in rows],
                "is_filtered": any(form[name] for name in _FILTERS),
                "n_duplicates": duplicates_waiting(self.own_keeper),
            },
            species=form["species"],
            status=422 if form.n_faults else 200,
        )

    def _wanted(self, form: TypedForm) -> QuerySet[Any]:
        species_asked(form["species"] or None)
        if form["season"] and not isinstance(whole_number(form["season"]), int):
            form.fault("season", f"Read {form['season']!r}, expected a year such as 2026.")
        wanted = {name: form[name] for name in _FILTERS if form[name] and name not in form.faults}
        own = clutch_list(self.own_keeper)
        return ClutchFilter(wanted, queryset=own).qs.order_by("-reported_at")


def _n_contradicting(shown: Any) -> int:
    """Hatchlings whose call the parents can not give."""
    return sum(one["count"] for one in shown["hatchlings"] if one["contradicts_parents"])


class ClutchView(PageView):
    """One clutch: what is stored, what was said of it, and what may be said now."""

    section = "own"
    template = "pages/clutch.html"
    needs_keeper = True

    def get(self, request: HttpRequest, clutch_id: uuid.UUID) -> HttpResponse:
        """The clutch with its history."""
        return self._shown(clutch_id, TypedForm({}))

    def post(self, request: HttpRequest, clutch_id: uuid.UUID) -> HttpResponse:
        """Take a second opinion over, or say what breeding has shown of a parent."""
        form = TypedForm({name: request.POST.get(name, "") for name in _SAID})
        done = False
        with form.noting(lambda place: (_first(place), "")):
            if request.POST.get("act") == "take-over":
                self._take_over(clutch_id, form)
            else:
                self._bred(clutch_id, form)
            done = True
        if not done:
            return self._shown(clutch_id, form)
        return see(f"{reverse('pages:clutch', args=[clutch_id])}#history")

    def _take_over(self, clutch_id: uuid.UUID, form: TypedForm) -> None:
        given = checked(RevisionInSerializer, {"opinion": form["opinion"]})
        try:
            clutch_revised(self, clutch_id, given, form["state"])
        except PreconditionFailedError:
            said = opinion_list(self.own_keeper, clutch_id).filter(pk=given["opinion"])
            if not said.exclude(taken_over=None).exists():
                raise
            # The button was pressed twice: what was asked for is done.

    def _bred(self, clutch_id: uuid.UUID, form: TypedForm) -> None:
        clutch = clutch_get(self.own_keeper, clutch_id)
        animal_id = clutch.dam_id if form["role"] == "dam" else clutch.sire_id
        body = {name: form[name] for name in ("gene", "status", "basis") if form[name]}
        given = checked(BredInSerializer, body)
        with capped(REVISIONS, self.caller):
            animal_bred(
                self.own_keeper,
                animal_id or _NOBODY,
                given,
                unchanged=lambda now: same_state(animal_shown(now), form["state"]),
            )

    def _shown(self, clutch_id: uuid.UUID, form: TypedForm) -> HttpResponse:
        clutch = clutch_get(self.own_keeper, clutch_id)
        shown = clutch_shown(clutch)
        history = [
            RevisionSerializer(revision_answer(one)).data
            for one in revision_list(self.own_keeper, clutch_id).order_by("number")
        ]
        opinions = opinion_list(self.own_keeper, clutch_id)
        animals = [
            (role, animal_shown(animal_get(self.own_keeper, pk)))
            for role, pk in (("sire", clutch.sire_id), ("dam", clutch.dam_id))
            if pk is not None
        ]
        return self.page(
            {
                "clutch": shown,
                "state": state_of(shown),
                "history": [
                    (one, None if before is None else changes_told(before, one))
                    for before, one in reversed(list(zip([None, *history], history, strict=False)))
                ],
                "opinions": [OpinionSerializer(opinion_answer(one)).data for one in opinions],
                "animals": [
                    (role, one, state_of(one), form if form["role"] == role else TypedForm({}))
                    for role, one in animals
                ],
                "form": form,
                "is_new": self.request.GET.get("new") == "yes",
                "in_hand": _in_hand(shown),
                "informed": informed_by(clutch),
            },
            species=shown["species"],
            status=form.http_status,
        )


def _in_hand(shown: Any) -> dict[str, str]:
    """The clutch as it would be typed at a clutch in hand."""
    typed = {
        "species": shown["species"],
        "hatchlings": hatchlings_typed(shown["species"], shown["hatchlings"]),
    }
    for role in ("sire", "dam"):
        typed |= {
            role: shown[role]["genes"],
            f"{role}_unproven": ", ".join(shown[role]["unproven"]),
        }
    return typed | {name: str(n) for name, n in shown["eggs"].items() if n is not None}


_SAID: Final = ("opinion", "state", "role", "gene", "status", "basis")


def _first(place: Place) -> str:
    """The field of a fault; what the page has no field for is told at its head."""
    first = str(place[0]) if place else ""
    return first if first in {"gene", "status", "basis"} else ""


class DuplicatesView(PageView):
    """Reports that may be of one clutch."""

    section = "own"
    template = "pages/duplicates.html"
    needs_keeper = True

    def get(self, request: HttpRequest) -> HttpResponse:
        """A page of the pairs, those found last first."""
        return self._shown(None)

    def post(self, request: HttpRequest) -> HttpResponse:
        """Say whether the two are one clutch."""
        given = checked(VerdictSerializer, {"verdict": request.POST.get("verdict", "")})
        seen, pair_id = request.POST.get("state", ""), _id(request.POST.get("pair", ""))
        try:
            duplicate_decide(
                self.own_keeper,
                pair_id,
                same=given["verdict"] == Verdict.SAME,
                unchanged=lambda now: same_state(self._pair(now), seen),
            )
        except PreconditionFailedError as error:
            pair = duplicate_list(self.own_keeper).filter(pk=pair_id).first()
            # A button that was pressed twice says again what was said.
            if pair is None or self._pair(pair)["you_say"] != given["verdict"]:
                return self._shown(error.message)
        return see(reverse("pages:duplicates"))

    def _pair(self, pair: LikelyDuplicate) -> Any:
        return DuplicateSerializer(duplicate_answer(self.own_keeper, pair)).data

    def _shown(self, fault: str | None) -> HttpResponse:
        pairs = duplicate_list(self.own_keeper).order_by("-found_at")
        page = list_page(self.request, pairs)
        rows = [self._pair(one) for one in page.rows]
        sides = ({one.earlier_id, one.later_id} for one in page.rows)
        own = clutches_by_id(self.own_keeper, set().union(*sides))
        reports = {str(pk): clutch_shown(one) for pk, one in own.items()}
        shown = [
            (one, state_of(one), reports.get(one["earlier"]), reports.get(one["later"]))
            for one in rows
        ]
        return self.page(
            {"list": page, "rows": shown, "fault": fault},
            status=200 if fault is None else HTTPStatus.PRECONDITION_FAILED,
        )


def _id(text: str) -> uuid.UUID:
    """An id from a form of ours; one that is none belongs to nothing."""
    try:
        return uuid.UUID(text)
    except ValueError:
        return _NOBODY
