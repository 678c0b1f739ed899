"""A keeper's own clutch changed: looked at again, or taken back."""

from __future__ import annotations

import uuid
from typing import Any, Final

from django.http import HttpRequest, HttpResponse
from django.urls import reverse

from registry.clutches.api.revision_serializers import RevisionInSerializer
from registry.clutches.api.serializers import ClutchSerializer
from registry.clutches.choices import EGGS, RevisionKind
from registry.clutches.models import Clutch
from registry.clutches.selectors import clutch_get, revision_list
from registry.clutches.services.revising import revision_tried
from registry.clutches.services.withdrawing import clutch_withdraw
from registry.errors import Place, PreconditionFailedError
from registry.pages.changes import changes_told
from registry.pages.forms import TypedForm, checked, hatchlings_typed_in, whole_number
from registry.pages.states import same_state, state_of
from registry.pages.views.base import PageView, see
from registry.pages.views.own import clutch_revised, clutch_shown
from registry.pages.written import entries_kept, hatchlings_typed


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
        return self._shown(TypedForm(typed), shown)

    def post(self, request: HttpRequest, clutch_id: uuid.UUID) -> HttpResponse:
        """What would be stored, or store it."""
        form = TypedForm({name: request.POST[name] for name in _REVISED if name in request.POST})
        clutch = clutch_get(self.own_keeper, clutch_id)
        shown = clutch_shown(clutch)
        form.typed["species"] = shown["species"]
        tried: Any = None
        with form.noting(_revised_field):
            given = checked(RevisionInSerializer, _revision_body(form))
            if not form.n_faults:
                _keep_untouched(given, clutch, shown)
                if request.POST.get("act") == "store":
                    try:
                        clutch_revised(self, clutch_id, given, form["state"])
                    except PreconditionFailedError:
                        if not self._is_stored(clutch_id, given):
                            raise
                    return see(f"{reverse('pages:clutch', args=[clutch_id])}#history")
                same_state(shown, form["state"])
                tried = ClutchSerializer(revision_tried(self.own_keeper, clutch_id, given)).data
        is_late = form["state"] != state_of(shown)
        # A form that was overtaken is told so once; sent again, it stands for the present state.
        form.typed["state"] = state_of(shown)
        return self._shown(form, shown, tried=tried, is_late=is_late)

    def _shown(
        self, form: TypedForm, clutch: Any, *, tried: Any = None, is_late: bool = False
    ) -> HttpResponse:
        context = {
            "form": form,
            "clutch": clutch,
            "tried": tried,
            "changes": None if tried is None else changes_told(clutch, tried),
            "is_late": is_late,
        }
        return self.page(context, species=clutch["species"], status=form.http_status)

    def _is_stored(self, clutch_id: uuid.UUID, given: Any) -> bool:
        """Whether the newest state is what the form says: its button was pressed twice."""
        newest = revision_list(self.own_keeper, clutch_id).order_by("-number").first()
        if newest is None:
            return False
        usual = RevisionKind.SHED if given.get("sheds") is not None else RevisionKind.CORRECTION
        said = (given.get("kind") or usual, given.get("sheds"), given.get("basis") or "")
        if said != (newest.kind, newest.sheds, newest.basis):
            return False
        now = clutch_shown(clutch_get(self.own_keeper, clutch_id))
        tried = ClutchSerializer(revision_tried(self.own_keeper, clutch_id, given)).data
        return not changes_told(now, tried)


_REVISED: Final = ("state", "hatchlings", "kind", "sheds", "basis", *EGGS)


def _revision_body(form: TypedForm) -> dict[str, Any]:
    """The body of a revision. An emptied field of eggs says that they were not counted."""
    body: dict[str, Any] = {"hatchlings": hatchlings_typed_in(form)}
    if any(name in form.typed for name in EGGS):
        body["eggs"] = {name: whole_number(form[name]) if form[name] else None for name in EGGS}
    if form["sheds"]:
        body["sheds"] = whole_number(form["sheds"])
    for name in ("kind", "basis"):
        if form[name]:
            body[name] = form[name]
    return body


def _keep_untouched(given: Any, clutch: Clutch, shown: Any) -> None:
    """Keep what a line can't say of the groups whose lines were left alone."""
    groups, rows = shown["hatchlings"], list(clutch.hatchlings.all())
    kept = entries_kept(shown["species"], groups, given["hatchlings"])
    for place, stored in kept.items():
        entry = given["hatchlings"][place]
        if groups[stored]["basis"]:
            entry["basis"] = groups[stored]["basis"]
        if "weight" in rows[stored].readings[0]:
            entry["weights"] = [one["weight"] for one in rows[stored].readings]


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
