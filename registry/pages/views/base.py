"""What every page has: who is signed in, the species, counted calls, errors as problems."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cached_property
from http import HTTPStatus
from typing import Any, ClassVar
from urllib.parse import urlencode

from django.core.exceptions import ValidationError
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseRedirect
from django.http.response import HttpResponseBase
from django.shortcuts import render
from django.urls import reverse
from django.utils.cache import patch_vary_headers
from django.views import View
from rest_framework.exceptions import APIException

from registry.api.middleware import TELLS_FAULTS
from registry.api.problems import ProblemResponse, problem_of
from registry.errors import RegistryError, TooManyRequestsError, UnreadableCharactersError
from registry.keepers.models import Keeper, KeeperToken
from registry.pages.choices import KEEPER_COOKIE
from registry.pages.selectors import SpeciesChoice, species_choices
from registry.pages.session import sign_out, token_of_cookie
from registry.traffic.callers import Caller, anonymous_caller
from registry.traffic.limits import calls_counted
from registry.wording import wait_text


class SignInNeededError(Exception):
    """A page of a keeper's own was asked for by nobody."""


class PageView(View):
    """A page. Give ``section`` (the entry of the menu) and ``template``.

    ``needs_keeper`` sends whoever is not signed in to the page for it, and back afterwards.
    """

    section: ClassVar[str] = ""
    template: ClassVar[str] = ""
    needs_keeper: ClassVar[bool] = False

    def dispatch(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        """Count the call, answer it, and tell refusals as problems."""
        if request.method == "OPTIONS":  # free as at the interface, and tells nothing of anybody
            return super().dispatch(request, *args, **kwargs)
        try:
            self._count()
            _refuse_no_text(request)
            response: HttpResponseBase
            if self.needs_keeper and self.token is None:
                response = self._to_sign_in()
            else:
                response = super().dispatch(request, *args, **kwargs)
        except (RegistryError, ValidationError, APIException, ValueError, Http404) as error:
            problem = problem_of(error, {"request": request, "view": self})
            if problem is None:
                raise
            response = ProblemResponse(problem, path=request.path)
        self._say_who_may_keep(response)
        return response

    def _say_who_may_keep(self, response: HttpResponseBase) -> None:
        """Tell caches what they may do, and take a cookie back that is over.

        A page differs by who is signed in, and one with a form holds the secret against forged
        ones; so nothing between us and the browser keeps any. What anybody may see a browser may
        keep if it asks again, so that the way back is quick and a half-typed form survives it.
        """
        if KEEPER_COOKIE in self.request.COOKIES:
            response.headers["Cache-Control"] = "private, no-store"
            if self.token is None and KEEPER_COOKIE not in response.cookies:
                sign_out(response)
        elif not response.has_header("Cache-Control"):
            response.headers["Cache-Control"] = "private, no-cache"
        if not response.headers["Cache-Control"].startswith("public"):
            patch_vary_headers(response, ("Cookie",))

    # --- who asks ---------------------------------------------------------------------------------

    @cached_property
    def token(self) -> KeeperToken | None:
        """The token that the caller signed in with."""
        return token_of_cookie(self.request)

    @property
    def keeper(self) -> Keeper | None:
        """Who is signed in."""
        return None if self.token is None else self.token.keeper

    @property
    def own_keeper(self) -> Keeper:
        """Who is signed in, on a page that ``needs_keeper``."""
        if self.keeper is None:
            raise SignInNeededError
        return self.keeper

    @property
    def caller(self) -> Caller:
        """Who is counted."""
        if self.keeper is not None:
            return Caller(is_keeper=True, name=str(self.keeper.pk))
        return anonymous_caller(self.request)

    def _count(self) -> None:
        """Count the page as a call of the interface is counted.

        Raises
        ------
        TooManyRequestsError
        """
        count = calls_counted(self.caller)
        if count is not None and count.is_refused:
            raise TooManyRequestsError(
                f"{count.limit} pages and calls are answered in {count.seconds} seconds; the next "
                f"one is in {wait_text(count.seconds_left)}.",
                retry_after=count.seconds_left,
            )

    def _to_sign_in(self) -> HttpResponse:
        back = self.request.get_full_path() if self.request.method == "GET" else self.request.path
        address = f"{reverse('pages:sign-in')}?{urlencode({'next': back})}"
        return HttpResponseRedirect(address, status=HTTPStatus.SEE_OTHER)

    # --- the page ---------------------------------------------------------------------------------

    @cached_property
    def all_species(self) -> list[SpeciesChoice]:
        """Species to choose from."""
        return species_choices()

    def species_chosen(self, key: str | None) -> SpeciesChoice | None:
        """The species of a key, None if there is no such one."""
        return next((one for one in self.all_species if one.key == key), None)

    def page(
        self,
        context: Mapping[str, Any] | None = None,
        *,
        species: str | None = None,
        status: int = 200,
        template: str | None = None,
    ) -> HttpResponse:
        """The page, with what all of them need; ``species`` is the key of what it is about.

        A form with faults goes out with 422: every fault is on it.
        """
        chosen = self.species_chosen(species)
        response = render(
            self.request,
            template or self.template,
            {
                "section": self.section,
                "keeper": self.keeper,
                "all_species": self.all_species,
                "species": chosen,
                "species_key": species,
                **(context or {}),
            },
            status=status,
        )
        setattr(response, TELLS_FAULTS, True)
        return response


def _refuse_no_text(request: HttpRequest) -> None:
    """Refuse a form with a NUL, which no database keeps in a text. Of addresses it is known before.

    Raises
    ------
    UnreadableCharactersError
    """
    for name, texts in request.POST.lists():
        if any("\x00" in one for one in (name, *texts)):
            raise UnreadableCharactersError(
                f"The field {name!r} holds a NUL, a sign that belongs to no text; expected words "
                "and numbers. Nothing was kept."
            )


def see(address: str) -> HttpResponse:
    """Send a browser on after a form was taken, so that a reload does not send it again."""
    return HttpResponseRedirect(address, status=HTTPStatus.SEE_OTHER)
