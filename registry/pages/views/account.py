"""The keeper's account: what is kept, tokens, export, erasure; and coming back without a token."""

from __future__ import annotations

import uuid
from http import HTTPStatus
from typing import Any, Final

from django.http import HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.urls import reverse

from registry.clutches.selectors import draft_list
from registry.errors import (
    InvalidBodyError,
    NotFoundError,
    Place,
    TooManyTokensError,
    UnknownRecoveryCodeError,
    UnknownTokenError,
)
from registry.keepers.api.serializers import TokenInSerializer, TokenSerializer
from registry.keepers.digests import keeper_digest
from registry.keepers.models import KeeperToken
from registry.keepers.selectors import erasure_get, token_answer, token_list
from registry.keepers.services import (
    keeper_recover,
    recovery_code_replace,
    token_make,
    token_revoke,
)
from registry.pages.brought import brought_in
from registry.pages.forms import TypedForm, checked
from registry.pages.once import Secrets, new_press, secrets_once
from registry.pages.session import sign_out
from registry.pages.views.base import PageView, see
from registry.pages.views.signing import NewSecretsView, secrets_of
from registry.records.api.serializers import KeeperSerializer
from registry.records.choices import ExportForm
from registry.records.downloads import export_download
from registry.records.selectors import keeper_record
from registry.records.services import keeper_erase

_NO_STORE: Final = "private, no-store"


class AccountView(PageView):
    """What is kept of the keeper, and where to go from there."""

    section = "account"
    template = "pages/account.html"
    needs_keeper = True

    def get(self, request: HttpRequest) -> HttpResponse:
        """The keeper's own record."""
        return self.page(
            {
                "record": KeeperSerializer(keeper_record(self.own_keeper)).data,
                "n_drafts": draft_list(self.own_keeper).count(),
            }
        )


class TokensView(PageView):
    """The keeper's tokens and recovery code."""

    section = "account"
    template = "pages/tokens.html"
    needs_keeper = True

    def get(self, request: HttpRequest) -> HttpResponse:
        """Those in force and those that have expired."""
        return self._shown(TypedForm({}))

    def post(self, request: HttpRequest) -> HttpResponse:
        """Make one, revoke one, or replace the recovery code."""
        act = request.POST.get("act")
        if act == "revoke":
            return self._revoked(request.POST.get("token", ""))
        if act == "new-code":
            return self._new_code()
        if act != "make":
            raise InvalidBodyError(
                "Read no act of this form, expected 'make', 'revoke' or 'new-code'."
            )
        form = TypedForm({name: request.POST.get(name, "") for name in _NEW})
        made = None
        with form.noting(_field):
            body = {name: form[name] for name in _NEW if form[name]}
            made = self._made(body)
        return self._shown(form if made is None else TypedForm({}), made=made)

    def _new_code(self) -> HttpResponse:
        keeper, form = self.own_keeper, TypedForm({})
        made: Secrets = {}
        with form.noting(_field):
            made = secrets_once(
                self.request.POST,
                "new-code",
                caller=keeper.pk,
                make=lambda: ({"recovery_code": recovery_code_replace(keeper)}, keeper.pk),
            )
        return self._shown(form, **made)

    def _made(self, body: dict[str, str]) -> Secrets:
        keeper, given = self.own_keeper, checked(TokenInSerializer, body)
        return secrets_once(
            self.request.POST,
            "make",
            *(body.get(name, "") for name in _NEW),
            caller=keeper.pk,
            make=lambda: ({"token": token_make(keeper, given).token}, keeper.pk),
        )

    def _revoked(self, text: str) -> HttpResponse:
        try:
            token_id = uuid.UUID(text)
        except ValueError as error:
            raise NotFoundError("You have no such token.") from error
        token_revoke(self.own_keeper, token_id)
        response = see(reverse("pages:tokens"))
        if self.token is not None and self.token.pk == token_id:
            sign_out(response)
        return response

    def _shown(self, form: TypedForm, **secrets: Any) -> HttpResponse:
        current = None if self.token is None else self.token.pk
        own = token_list(self.own_keeper).order_by("created_at", "pk")
        response = self.page(
            {
                "form": form,
                "tokens": [_token_shown(one, current) for one in own],
                "press": new_press(),
                **secrets,
            },
            status=422 if form.n_faults else 200,
        )
        response.headers["Cache-Control"] = _NO_STORE
        return response


_NEW: Final = ("label", "expires_on")


def _token_shown(token: KeeperToken, current: uuid.UUID | None) -> Any:
    return TokenSerializer(token_answer(token, current=current)).data


def _field(place: Place) -> tuple[str, str]:
    first = str(place[0]) if place else ""
    return (first if first in _NEW else ""), ""


class ExportView(PageView):
    """Everything of the keeper, to take along."""

    section = "account"
    template = "pages/export.html"
    needs_keeper = True

    def get(self, request: HttpRequest) -> HttpResponseBase:
        """The page, or the file in the form that is asked for."""
        form = request.GET.get("form")
        if form in ExportForm.values:
            return export_download(self.own_keeper, str(form))
        return self.page()


class EraseView(PageView):
    """Erase everything of the keeper."""

    section = "account"
    template = "pages/erase.html"
    needs_keeper = True

    def get(self, request: HttpRequest) -> HttpResponse:
        """What would go."""
        return self._asked(None)

    def post(self, request: HttpRequest) -> HttpResponse:
        """Erase, sign out and show the receipt; not without the tick."""
        if request.POST.get("sure") != "yes":
            return self._asked("Tick that you are sure; nothing was erased.")
        try:
            erased = keeper_erase(self.own_keeper.pk)
        except UnknownTokenError:  # two presses at once, and the other one came first
            self.token = None
            return self._to_sign_in()
        self.token = None
        response = self.page(
            {"erased": erased, "form": TypedForm({})}, template="pages/erased.html"
        )
        response.headers["Cache-Control"] = _NO_STORE
        sign_out(response)
        return response

    def _asked(self, fault: str | None) -> HttpResponse:
        record = KeeperSerializer(keeper_record(self.own_keeper)).data
        return self.page(
            {"record": record, "fault": fault, "receipt": keeper_digest(self.own_keeper.pk)},
            status=422 if fault else 200,
        )

    def _to_sign_in(self) -> HttpResponse:
        """After a second press nobody is signed in any more, and the first answer was not seen.

        So the form brings its receipt along, and the second answer shows it.
        """
        receipt = self.request.POST.get("receipt", "")
        try:
            found = erasure_get(receipt)
        except NotFoundError:
            return super()._to_sign_in()
        context = {"found": found, "form": TypedForm({"receipt": receipt})}
        response = self.page(context, template="pages/erased.html")
        response.headers["Cache-Control"] = _NO_STORE
        sign_out(response)
        return response


class ErasedView(PageView):
    """Was a keeper erased? Asked with the receipt, by whoever has it."""

    section = "account"
    template = "pages/erased.html"

    def get(self, request: HttpRequest) -> HttpResponse:
        """The form."""
        return self.page({"form": TypedForm({})})

    def post(self, request: HttpRequest) -> HttpResponse:
        """The day of the erasure. The receipt is sent in the body, so that no address holds it."""
        form = TypedForm({"receipt": request.POST.get("receipt", "")})
        try:
            found = erasure_get(form["receipt"])
        except NotFoundError as error:
            form.fault("receipt", error.message)
            return self.page({"form": form}, status=HTTPStatus.UNPROCESSABLE_ENTITY)
        return self.page({"form": form, "found": found})


class RecoverView(NewSecretsView):
    """Come back without a token."""

    section = "account"
    template = "pages/recover.html"

    def get(self, request: HttpRequest) -> HttpResponse:
        """The form."""
        return self._asked(TypedForm({}))

    def post(self, request: HttpRequest) -> HttpResponse:
        """A new token and a new code, shown this once; the old code is used up."""
        form = TypedForm({"code": request.POST.get("code", "")})
        if self.is_on_the_way:
            return self._asked(form)
        revoke = request.POST.get("revoke") == "yes"
        try:
            made = secrets_once(
                request.POST,
                form["code"],
                str(revoke),
                caller=None,
                make=lambda: secrets_of(keeper_recover(form["code"], revoke_tokens=revoke)),
            )
        except (UnknownRecoveryCodeError, TooManyTokensError) as error:
            form.fault("code", error.message)
            return self._asked(form)
        return self.keeper_made(made)

    def _asked(self, form: TypedForm) -> HttpResponse:
        brought = brought_in(self.request.POST)
        context = {"form": form, "press": new_press(), "brought": brought}
        response = self.page(context, status=form.http_status)
        response.headers["Cache-Control"] = _NO_STORE
        return response
