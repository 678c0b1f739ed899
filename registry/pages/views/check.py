"""A clutch in hand, held against its parents. Nothing is stored."""

from __future__ import annotations

from typing import Any, Final

from django.http import HttpRequest, HttpResponse

from registry.clutches.api.check_serializers import ClutchCheckSerializer
from registry.clutches.api.serializers import ClutchCheckInSerializer
from registry.clutches.services.checks import clutch_check
from registry.pages.forms import PARENTS, UNREAD, TypedForm, clutch_body, clutch_field
from registry.pages.views.base import PageView
from registry.pages.wording import EXPLANATIONS

FIELDS: Final = (
    "species",
    "sire",
    "sire_unproven",
    "dam",
    "dam_unproven",
    "laid",
    "infertile",
    "died",
    "hatchlings",
)


class CheckView(PageView):
    """Look at a clutch without an account."""

    section = "check"
    template = "pages/check.html"

    def get(self, request: HttpRequest) -> HttpResponse:
        """The form, empty or with what a link brings along."""
        form = TypedForm({name: request.GET.get(name, "") for name in FIELDS})
        return self.page({"form": form}, species=form["species"])

    def post(self, request: HttpRequest) -> HttpResponse:
        """The form as it was typed, and what the clutch says."""
        form = TypedForm({name: request.POST.get(name, "") for name in FIELDS})
        answer = clutch_looked_at(form)
        return self.page(
            {
                "form": form,
                "answer": answer,
                "names": EXPLANATIONS,
            },
            species=form["species"],
            status=422 if form.n_faults else 200,
        )


def clutch_looked_at(form: TypedForm) -> Any:
    """The answer about the clutch of a form; None and faults at their fields if it has any."""
    body = clutch_body(form)
    for name in ("season", "pairing"):
        body.pop(name, None)
    given = form.checked(ClutchCheckInSerializer, body, clutch_field, stand_ins=_STAND_INS)
    answer: Any = None
    if given is not None:
        with form.noting(clutch_field):
            answer = ClutchCheckSerializer(clutch_check(given)).data
        if form.faults.keys() & set(PARENTS):
            # Hatchlings are read with their parents; with others in their place, for their own
            # faults.
            with form.noting(clutch_field):
                clutch_check(given | {"sire": UNREAD, "dam": UNREAD})
    return None if form.n_faults else answer


_STAND_INS: Final = {"sire": UNREAD, "dam": UNREAD, "eggs": None}
