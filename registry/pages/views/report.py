"""Reporting a clutch: type, look over what was understood, hand in."""

from __future__ import annotations

import uuid
from typing import Any, Final

from django.http import HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.urls import reverse

from registry.clutches.api.check_serializers import ClutchCheckSerializer
from registry.clutches.api.serializers import ClutchInSerializer, ClutchSerializer
from registry.clutches.choices import DRAFT_DAYS, MAX_DRAFTS
from registry.clutches.selectors import draft_get, draft_list, report_answer
from registry.clutches.services.bulk import ClutchTrial
from registry.clutches.services.checks import clutch_check
from registry.clutches.services.drafts import (
    draft_begin,
    draft_change,
    draft_hand_in,
    draft_throw_away,
)
from registry.clutches.services.reporting import Report
from registry.keepers.models import Keeper
from registry.keepers.selectors import today
from registry.pages.forms import PARENTS, UNREAD, TypedForm, checked, clutch_body, clutch_field
from registry.pages.views.base import PageView, see
from registry.pages.views.pairings import open_pairings
from registry.pages.wording import EXPLANATIONS
from registry.traffic.callers import Caller

FIELDS: Final = (
    "species",
    "season",
    "pairing",
    "sire",
    "sire_animal",
    "sire_unproven",
    "dam",
    "dam_animal",
    "dam_unproven",
    "laid",
    "infertile",
    "died",
    "hatchlings",
    "clutch_code",
)
_MOST_OF_A_FIELD: Final = 20_000
"""Characters that are kept of a field; no clutch needs as many."""


def typed_in(given: Any) -> dict[str, str]:
    """The fields of the form; an address or a form may name some of them only."""
    return {name: given.get(name, "")[:_MOST_OF_A_FIELD].strip() for name in FIELDS}


class ReportView(PageView):
    """A new report, and those that are not handed in yet."""

    section = "report"
    template = "pages/report.html"
    needs_keeper = True

    def get(self, request: HttpRequest) -> HttpResponse:
        """An empty form, or with what a link brings along."""
        typed = typed_in(request.GET)
        typed["season"] = typed["season"] or str(today().year)
        form = TypedForm(typed)
        return self.page(
            {
                "form": form,
                "pairings": open_pairings(self.own_keeper),
                "drafts": [(one, TypedForm(one.typed)) for one in draft_list(self.own_keeper)],
                "draft_days": DRAFT_DAYS,
                "most_drafts": MAX_DRAFTS,
            },
            species=form["species"],
        )

    def post(self, request: HttpRequest) -> HttpResponse:
        """Keep what was typed, and show what was understood: a reload loses nothing."""
        draft = draft_begin(self.own_keeper, typed_in(request.POST))
        return see(reverse("pages:draft", args=[draft.pk]))


class DraftView(PageView):
    """A report that was typed: what was understood, and the three things to do with it."""

    section = "report"
    template = "pages/draft.html"
    needs_keeper = True

    def get(self, request: HttpRequest, draft_id: uuid.UUID) -> HttpResponse:
        """What was understood, beside the form as it was typed."""
        draft = draft_get(self.own_keeper, draft_id)
        if draft.clutch_id is not None:
            return see(reverse("pages:clutch", args=[draft.clutch_id]))
        return self._shown(draft_id, TypedForm(draft.typed))

    def post(self, request: HttpRequest, draft_id: uuid.UUID) -> HttpResponseBase:
        """Look over anew, hand in, or throw away."""
        act = request.POST.get("act")
        if act == "throw-away":
            draft_throw_away(self.own_keeper, draft_id)
            return see(reverse("pages:report"))
        if act == "hand-in":
            return self._hand_in(draft_id)
        draft_change(self.own_keeper, draft_id, typed_in(request.POST))
        return see(reverse("pages:draft", args=[draft_id]))

    def _hand_in(self, draft_id: uuid.UUID) -> HttpResponse:
        """What is handed in is what was looked over: the draft, not what stands in the form."""
        draft = draft_get(self.own_keeper, draft_id)
        form = TypedForm(draft.typed)
        clutch_id = draft.clutch_id
        if clutch_id is None:
            with form.noting(clutch_field):
                given = checked(ClutchInSerializer, _body(form))
                if not form.n_faults:
                    clutch_id = draft_hand_in(self.own_keeper, draft, given, self.caller)
        if clutch_id is None:
            return self._shown(draft_id, form)
        return see(f"{reverse('pages:clutch', args=[clutch_id])}?new=yes")

    def _shown(self, draft_id: uuid.UUID, form: TypedForm) -> HttpResponse:
        understood = report_understood(self.own_keeper, form, self.caller)
        return self.page(
            {
                "form": form,
                "draft_id": draft_id,
                "understood": understood,
                "answer": clutch_weighed(form, understood),
                "names": EXPLANATIONS,
                "pairings": open_pairings(self.own_keeper),
            },
            species=form["species"],
            status=422 if form.n_faults else 200,
        )


def report_understood(keeper: Keeper, form: TypedForm, caller: Caller) -> Any:
    """The clutch as it would be stored; None, and faults at their fields, if it would not be.

    It is reported and taken back in one transaction, so nothing can be refused afterwards that
    was not told here, and whether it would wait as a copy is known.
    """
    given = form.checked(ClutchInSerializer, _body(form), clutch_field, stand_ins=_stand_ins())
    understood = None
    if given is not None:
        with form.noting(clutch_field):
            understood = _as_stored(ClutchTrial(keeper, caller).report(given), given)
    return None if form.n_faults else understood


def _stand_ins() -> dict[str, Any]:
    return {
        "season": today().year,
        "sire": UNREAD,
        "dam": UNREAD,
        "eggs": None,
        "clutch_code": None,
        "pairing": None,
    }


def _body(form: TypedForm) -> dict[str, Any]:
    """The body of the report; a chosen pairing stands for the parents, which stay in the form."""
    body = clutch_body(form)
    if form["pairing"]:
        for role in PARENTS:
            body.pop(role, None)
    return body


def _as_stored(report: Report, given: Any) -> Any:
    head = {
        "id": report.clutch_id,
        "season": report.season,
        "declared": report.is_declared,
        "held": report.held_foretold,
        "reported_at": report.reported_at,
    }
    return ClutchSerializer(report_answer(head, report.read, given, report.labels)).data


def clutch_weighed(form: TypedForm, understood: Any) -> Any:
    """What the clutch says by itself, as `clutch-checks/` does; None for a form with faults."""
    if understood is None:
        return None
    body = clutch_body(form)
    for role in PARENTS:
        # As they were read: of a declared pairing the form itself names no genes.
        read = understood[role]
        body[role] = {"genes": read["genes"]}
        if read["unproven"]:
            body[role]["unproven"] = read["unproven"]
    for name in ("pairing", "season", "clutch_code"):
        body.pop(name, None)
    given = checked(ClutchInSerializer, body | {"season": understood["season"]})
    return ClutchCheckSerializer(clutch_check(given)).data
