"""Reporting a clutch: type, look over what was understood, hand in."""

from __future__ import annotations

import uuid
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from http import HTTPStatus
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.urls import reverse

from registry.clutches.api.check_serializers import ClutchCheckSerializer
from registry.clutches.api.serializers import ClutchInSerializer, ClutchSerializer
from registry.clutches.choices import DRAFT_DAYS, MAX_DRAFTS
from registry.clutches.models import Draft
from registry.clutches.selectors import draft_get, draft_list
from registry.clutches.services.checks import clutch_weighed
from registry.clutches.services.drafts import (
    draft_begin,
    draft_change,
    draft_hand_in,
    draft_throw_away,
    report_tried,
)
from registry.clutches.services.reporting import reported_answer
from registry.errors import (
    InvalidBodyError,
    PreconditionFailedError,
    TooManyRequestsError,
)
from registry.keepers.models import Keeper
from registry.keepers.selectors import today
from registry.pages.brought import ACT, brought_in, typed_in
from registry.pages.forms import (
    PARENTS,
    REFUSALS,
    UNREAD,
    TypedForm,
    checked,
    clutch_body,
    clutch_field,
)
from registry.pages.states import state_of
from registry.pages.views.base import PageView, see
from registry.pages.views.pairings import PairingRow, id_typed, open_pairings
from registry.traffic.callers import Caller


class ReportView(PageView):
    """A new report, and those that are not handed in yet."""

    section = "report"
    template = "pages/report.html"
    needs_keeper = True

    def get(self, request: HttpRequest) -> HttpResponse:
        """An empty form, or with what a link brings along."""
        return self._shown(typed_in(request.GET))

    def post(self, request: HttpRequest) -> HttpResponse:
        """Keep what was typed, and show what was understood: a reload loses nothing.

        A clutch that another page brings along is put into the form, and not kept yet.
        """
        brought = brought_in(request.POST)
        if brought is not None:
            return self._shown(brought)
        draft = draft_begin(self.own_keeper, typed_in(request.POST))
        return see(reverse("pages:draft", args=[draft.pk]))

    def _to_sign_in(self) -> HttpResponse:
        """What is brought along goes through signing in as well."""
        brought = brought_in(self.request.POST)
        if brought is None:
            return super()._to_sign_in()
        context = {"next": reverse("pages:report"), "brought": brought}
        return self.page(context, template="pages/sign_in.html")

    def _shown(self, typed: Mapping[str, str]) -> HttpResponse:
        form = TypedForm({**typed, "season": typed.get("season") or str(today().year)})
        pairings = open_pairings(self.own_keeper, form["pairing"])
        return self.page(
            {
                "form": form,
                "pairings": pairings,
                "drafts": [(one, _title(one, pairings)) for one in draft_list(self.own_keeper)],
                "draft_days": DRAFT_DAYS,
                "most_drafts": MAX_DRAFTS,
            },
            species=form["species"],
        )


def _title(draft: Draft, pairings: Sequence[PairingRow]) -> str:
    """What a draft is of, as it was typed."""
    typed = TypedForm(draft.typed)
    if typed["pairing"]:
        own = (one.parents for one in pairings if one.answer["id"] == typed["pairing"])
        parents = next(own, "A pairing you declared")
    elif typed["sire"] or typed["dam"]:
        parents = f"{typed['sire'] or '?'} \u00d7 {typed['dam'] or '?'}"
    else:
        parents = "A clutch without parents yet"
    return f"{parents}, {typed['season']}" if typed["season"] else parents


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
        return self._shown(draft)

    def post(self, request: HttpRequest, draft_id: uuid.UUID) -> HttpResponseBase:
        """Look over anew, hand in, or throw away."""
        act = request.POST.get(ACT)
        if act == "throw-away":
            draft_throw_away(self.own_keeper, draft_id)
            return see(reverse("pages:report"))
        if act == "hand-in":
            return self._hand_in(draft_id)
        if act not in {None, "look"}:
            raise InvalidBodyError(
                f"Read {act!r} as act of this form, expected 'look', 'hand-in' or 'throw-away'."
            )
        draft_change(self.own_keeper, draft_id, typed_in(request.POST))
        return see(reverse("pages:draft", args=[draft_id]))

    def _hand_in(self, draft_id: uuid.UUID) -> HttpResponse:
        """What is handed in is what was looked over: the draft, not what stands in the form."""
        draft = draft_get(self.own_keeper, draft_id)
        clutch_id = draft.clutch_id
        if clutch_id is None:
            if self.request.POST.get("state") != state_of(draft.typed):
                return self._shown(draft, status=HTTPStatus.PRECONDITION_FAILED)
            try:
                form = TypedForm(draft.typed)
                given = checked(ClutchInSerializer, _body(form))
                if form.n_faults:
                    return self._shown(draft)
                clutch_id = draft_hand_in(self.own_keeper, draft, given, self.caller)
            except PreconditionFailedError:
                draft = draft_get(self.own_keeper, draft_id)
                return self._shown(draft, status=HTTPStatus.PRECONDITION_FAILED)
            except TooManyRequestsError:
                return self._shown(draft, status=HTTPStatus.TOO_MANY_REQUESTS)
            except REFUSALS:
                # Looked over once more it is refused at the same fields, and they are shown.
                return self._shown(draft)
        return see(f"{reverse('pages:clutch', args=[clutch_id])}?new=yes")

    def _shown(self, draft: Draft, *, status: HTTPStatus = HTTPStatus.OK) -> HttpResponse:
        form = TypedForm(draft.typed)
        understood = report_understood(self.own_keeper, form, self.caller)
        return self.page(
            {
                "form": form,
                "draft_id": draft.pk,
                "draft_days": DRAFT_DAYS,
                "state": state_of(draft.typed),
                "is_late": status == HTTPStatus.PRECONDITION_FAILED,
                "understood": understood and understood.clutch,
                "answer": understood and understood.answer,
                "not_today": understood and understood.not_today,
                "pairings": open_pairings(self.own_keeper, form["pairing"]),
            },
            species=form["species"],
            status=HTTPStatus.UNPROCESSABLE_ENTITY if form.n_faults else status,
        )


@dataclass(frozen=True, slots=True)
class Understood:
    """A clutch as it would be stored, what it says by itself, and why it may have to wait."""

    clutch: Any
    answer: Any
    not_today: str | None


def report_understood(keeper: Keeper, form: TypedForm, caller: Caller) -> Understood | None:
    """The clutch as it would be stored; None, and faults at their fields, if it would not be.

    It is reported and taken back in one transaction, so nothing can be refused afterwards that
    was not told here, and whether it would wait as a copy is known. What it says by itself is the
    answer of `clutch-checks/` about the clutch as it was read.
    """
    given = form.checked(ClutchInSerializer, _body(form), clutch_field, stand_ins=_stand_ins())
    if given is None:
        return None
    understood = None
    with form.noting(clutch_field):
        trial = report_tried(keeper, given, caller)
        if not form.n_faults:
            understood = Understood(
                clutch=ClutchSerializer(reported_answer(trial.report, given, is_trial=True)).data,
                answer=ClutchCheckSerializer(clutch_weighed(trial.report.read, given)).data,
                not_today=trial.not_today,
            )
    if form.faults.keys() & {"pairing", *PARENTS}:
        # Hatchlings are read with their parents; with others in their place, for their own faults.
        with form.noting(clutch_field):
            report_tried(keeper, given | {"pairing": None, "sire": UNREAD, "dam": UNREAD}, caller)
    return understood


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
    """The body of the report; a chosen pairing stands for the parents, which stay in the form.

    Entries of hatchlings that can't be read are noted as faults of the form.
    """
    body = clutch_body(form)
    if id_typed(form["pairing"]) is not None:
        for role in PARENTS:
            body.pop(role, None)
    return body
