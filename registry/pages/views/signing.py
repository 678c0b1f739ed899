"""Joining, signing in and out."""

from __future__ import annotations

import uuid
from http import HTTPStatus

from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.urls import reverse
from django.utils.http import url_has_allowed_host_and_scheme

from registry.errors import ExpiredTokenError
from registry.keepers.services import NewKeeper, keeper_join, token_use
from registry.pages.brought import brought_in
from registry.pages.once import PRESS, Secrets, form_used, new_press, secrets_once
from registry.pages.session import sign_in, sign_out
from registry.pages.views.base import PageView, see
from registry.traffic.callers import anonymous_caller
from registry.traffic.limits import NEW_KEEPERS, capped

_NOBODYS = (
    "That is the token of no keeper. A token begins with bck_ and is 47 characters long; look "
    "whether all of it was copied."
)


def next_page(request: HttpRequest) -> str:
    """Where the caller came from, if it is a page of ours; else the keeper's own list."""
    asked = request.POST.get("next") or request.GET.get("next", "")
    is_ours = url_has_allowed_host_and_scheme(
        asked, allowed_hosts=None, require_https=request.is_secure()
    )
    return asked if is_ours and asked.startswith("/") else reverse("pages:clutches")


class SignInView(PageView):
    """Sign in with a token."""

    section = "account"
    template = "pages/sign_in.html"

    def get(self, request: HttpRequest) -> HttpResponse:
        """The form."""
        return self.page({"next": next_page(self.request)})

    def post(self, request: HttpRequest) -> HttpResponse:
        """Check the token and hand out the cookie."""
        token = request.POST.get("token", "").strip()
        try:
            found = token_use(token) if token else None
            fault = _NOBODYS
        except ExpiredTokenError as error:
            found, fault = None, error.message
        brought = brought_in(request.POST)
        if found is None:
            context = {"next": next_page(request), "fault": fault, "brought": brought}
            return self.page(context, status=422)
        response = see(next_page(request)) if brought is None else _with_form("pages:report")
        sign_in(response, token, stay=request.POST.get("stay") == "yes")
        return response


def _with_form(name: str) -> HttpResponse:
    """Send a browser on with the form it has just sent, so that what is brought along comes too."""
    return HttpResponseRedirect(reverse(name), status=HTTPStatus.TEMPORARY_REDIRECT)


class SignOutView(PageView):
    """Sign out of this browser."""

    def post(self, request: HttpRequest) -> HttpResponse:
        """Take the cookie back; the token stays in force."""
        response = see(reverse("pages:ask"))
        sign_out(response)
        return response


def secrets_of(made: NewKeeper) -> tuple[Secrets, uuid.UUID]:
    """The two secrets of a keeper, and whose they are."""
    return {"token": made.token, "recovery_code": made.recovery_code}, made.keeper.pk


class NewSecretsView(PageView):
    """A page that gives a keeper a token and a recovery code, and signs in with them."""

    @property
    def is_on_the_way(self) -> bool:
        """Whether somebody comes by with a clutch and has not seen the form of this page yet."""
        posted = self.request.POST
        return PRESS not in posted and brought_in(posted) is not None

    def keeper_made(self, made: Secrets, *, go_on: str | None = None) -> HttpResponse:
        """The page with the two secrets, and where it leads.

        Raises
        ------
        PreconditionFailedError
            The token was made by this form before, and has been revoked since.
        """
        self.token = token_use(made["token"])
        if self.token is None:
            raise form_used()
        context = {"made": made, "next": go_on, "brought": brought_in(self.request.POST)}
        response = self.page(context, template="pages/joined.html")
        response.headers["Cache-Control"] = "private, no-store"
        sign_in(response, made["token"], stay=self.request.POST.get("stay") == "yes")
        return response


class JoinView(NewSecretsView):
    """Become a keeper: nothing is asked."""

    section = "account"
    template = "pages/join.html"

    def get(self, request: HttpRequest) -> HttpResponse:
        """What joining means."""
        return self._asked()

    def post(self, request: HttpRequest) -> HttpResponse:
        """A new keeper, signed in; the two secrets are shown this once."""
        if self.is_on_the_way:
            return self._asked()
        made = secrets_once(request.POST, "join", caller=None, make=self._join)
        return self.keeper_made(made, go_on=next_page(request))

    def _asked(self) -> HttpResponse:
        context = {
            "next": next_page(self.request),
            "press": new_press(),
            "brought": brought_in(self.request.POST),
        }
        response = self.page(context)
        response.headers["Cache-Control"] = "private, no-store"
        return response

    def _join(self) -> tuple[Secrets, uuid.UUID]:
        with capped(NEW_KEEPERS, anonymous_caller(self.request)):
            return secrets_of(keeper_join())
