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
from registry.clutches.choices import DuplicateState, Verdict
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
from registry.clutches.services.revising import clutch_revise, revision_tried
from registry.clutches.services.withdrawing import clutch_withdraw
from registry.errors import Place, PreconditionFailedError
from registry.pages.forms import EGGS, TypedForm, checked, hatchlings_typed_in, whole_number
from registry.pages.lists import ListPage, list_page
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
        waiting = duplicate_list(self.own_keeper).filter(state=DuplicateState.LIKELY)
        names = {one.key: one for one in self.all_species}
        rows = [clutch_shown(one) for one in page.rows]
        return self.page(
            {
                "form": form,
                "list": page,
                "rows": [(one, names.get(one["species"])) for one in rows],
                "is_filtered": any(form[name] for name in _FILTERS),
                "n_duplicates": waiting.count(),
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
        with capped(REVISIONS, self.caller):
            clutch_revise(
                self.own_keeper,
                clutch_id,
                given,
                unchanged=lambda now: same_state(clutch_shown(now), form["state"]),
            )

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
        history = revision_list(self.own_keeper, clutch_id).order_by("-number")
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
                "history": [RevisionSerializer(revision_answer(one)).data for one in history],
                "opinions": [OpinionSerializer(opinion_answer(one)).data for one in opinions],
                "animals": [
                    (role, one, state_of(one), form if form["role"] == role else TypedForm({}))
                    for role, one in animals
                ],
                "form": form,
                "is_new": self.request.GET.get("new") == "yes",
                "typed": hatchlings_typed(shown["species"], shown["hatchlings"]),
            },
            species=shown["species"],
            status=422 if form.n_faults else 200,
        )


_SAID: Final = ("opinion", "state", "role", "gene", "status", "basis")


def _first(place: Place) -> str:
    """The field of a fault; what the page has no field for is told at its head."""
    first = str(place[0]) if place else ""
    return first if first in {"gene", "status", "basis"} else ""


class ReviseView(PageView):
    """A clutch looked at again: look it over, then store it."""

    section = "own"
    template = "pages/revise.html"
    needs_keeper = True

    def get(self, request: HttpRequest, clutch_id: uuid.UUID) -> HttpResponse:
        """The present state, ready to be changed."""
        shown = clutch_shown(clutch_get(self.own_keeper, clutch_id))
        typed = {"hatchlings": hatchlings_typed(shown["species"], shown["hatchlings"])}
        typed |= {name: str(n) for name, n in shown["eggs"].items() if n is not None}
        typed |= {"state": state_of(shown), "species": shown["species"]}
        return self.page({"form": TypedForm(typed), "clutch": shown}, species=shown["species"])

    def post(self, request: HttpRequest, clutch_id: uuid.UUID) -> HttpResponse:
        """What would be stored, or store it."""
        form = TypedForm({name: request.POST.get(name, "") for name in _REVISED})
        clutch = clutch_shown(clutch_get(self.own_keeper, clutch_id))
        form.typed["species"] = clutch["species"]
        tried: Any = None
        with form.noting(_revised_field):
            given = checked(RevisionInSerializer, _revision_body(form))
            if not form.n_faults:
                if request.POST.get("act") == "store":
                    self._store(clutch_id, form, given)
                    return see(f"{reverse('pages:clutch', args=[clutch_id])}#history")
                same_state(clutch, form["state"])
                tried = ClutchSerializer(revision_tried(self.own_keeper, clutch_id, given)).data
        # A form that was overtaken is told so once; sent again, it stands for the present state.
        form.typed["state"] = state_of(clutch)
        return self.page(
            {"form": form, "clutch": clutch, "tried": tried},
            species=clutch["species"],
            status=422 if form.n_faults else 200,
        )

    def _store(self, clutch_id: uuid.UUID, form: TypedForm, given: Any) -> None:
        with capped(REVISIONS, self.caller):
            clutch_revise(
                self.own_keeper,
                clutch_id,
                given,
                unchanged=lambda now: same_state(clutch_shown(now), form["state"]),
            )


_REVISED: Final = ("state", "hatchlings", "sheds", "basis", *EGGS)


def _revision_body(form: TypedForm) -> dict[str, Any]:
    body: dict[str, Any] = {"hatchlings": hatchlings_typed_in(form)}
    if eggs := {name: whole_number(form[name]) for name in EGGS if form[name]}:
        body["eggs"] = eggs
    if form["sheds"]:
        body["sheds"] = whole_number(form["sheds"])
    if form["basis"]:
        body["basis"] = form["basis"]
    return body


def _revised_field(place: Place) -> tuple[str, str]:
    first, *rest = place or ("",)
    if first == "hatchlings" and rest and isinstance(rest[0], int):
        return "hatchlings", f"Entry {rest[0] + 1}: "
    if first == "eggs":
        return (str(rest[0]) if rest and rest[0] in EGGS else "laid"), ""
    return str(first), ""


class WithdrawView(PageView):
    """Take a clutch back."""

    section = "own"
    template = "pages/withdraw.html"
    needs_keeper = True

    def get(self, request: HttpRequest, clutch_id: uuid.UUID) -> HttpResponse:
        """What would go."""
        shown = clutch_shown(clutch_get(self.own_keeper, clutch_id))
        return self.page({"clutch": shown, "state": state_of(shown)}, species=shown["species"])

    def post(self, request: HttpRequest, clutch_id: uuid.UUID) -> HttpResponse:
        """Withdraw it, unless it has changed since."""
        seen = request.POST.get("state", "")
        try:
            clutch_withdraw(
                self.own_keeper,
                clutch_id,
                unchanged=lambda now: same_state(clutch_shown(now), seen),
            )
        except PreconditionFailedError as error:
            shown = clutch_shown(clutch_get(self.own_keeper, clutch_id))
            context = {"clutch": shown, "state": state_of(shown), "fault": error.message}
            return self.page(context, species=shown["species"], status=error.status)
        return see(reverse("pages:clutches"))


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
        seen = request.POST.get("state", "")
        try:
            duplicate_decide(
                self.own_keeper,
                _id(request.POST.get("pair", "")),
                same=given["verdict"] == Verdict.SAME,
                unchanged=lambda now: same_state(self._pair(now), seen),
            )
        except PreconditionFailedError as error:
            return self._shown(error.message)
        return see(reverse("pages:duplicates"))

    def _pair(self, pair: LikelyDuplicate) -> Any:
        return DuplicateSerializer(duplicate_answer(self.own_keeper, pair)).data

    def _shown(self, fault: str | None) -> HttpResponse:
        pairs = duplicate_list(self.own_keeper).order_by("-found_at")
        page = list_page(self.request, pairs)
        rows = [self._pair(one) for one in page.rows]
        return self.page(
            {"list": page, "rows": [(one, state_of(one)) for one in rows], "fault": fault},
            status=200 if fault is None else HTTPStatus.PRECONDITION_FAILED,
        )


def _id(text: str) -> uuid.UUID:
    """An id from a form of ours; one that is none belongs to nothing."""
    try:
        return uuid.UUID(text)
    except ValueError:
        return _NOBODY
