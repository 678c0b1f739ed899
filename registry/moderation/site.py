"""The pages of moderation: Django's admin, which `ModerationMiddleware` opens or closes."""

from __future__ import annotations

from typing import Any

from django.contrib.admin import AdminSite
from django.http import HttpRequest, HttpResponse

from registry.api.problems import ProblemResponse, problem_of, problem_of_status
from registry.errors import TooManyRequestsError
from registry.traffic.callers import anonymous_caller
from registry.traffic.limits import SIGN_INS, calls_counted, cap_counted


class ModerationSite(AdminSite):
    """Pages to look at what keepers reported, with the acts that moderators have."""

    site_header = "Broodcount moderation"
    site_title = "Broodcount moderation"
    index_title = "What can be looked at"
    site_url = None
    enable_nav_sidebar = False

    def login(
        self, request: HttpRequest, extra_context: dict[str, Any] | None = None
    ) -> HttpResponse:
        """Sign in. Attempts are counted, so passwords can't be tried out."""
        if request.method == "POST":
            try:
                _attempt_counted(request)
            except TooManyRequestsError as refused:
                problem = problem_of(refused) or problem_of_status(refused.status)
                return ProblemResponse(problem, path=request.path)
        return super().login(request, extra_context)


def _attempt_counted(request: HttpRequest) -> None:
    """Count it as a call of nobody, and towards the few attempts that an address has in a day.

    Raises
    ------
    TooManyRequestsError
    """
    caller = anonymous_caller(request)
    count = calls_counted(caller)
    if count is not None and count.is_refused:
        raise TooManyRequestsError("Too many attempts to sign in.", retry_after=count.seconds_left)
    cap_counted(SIGN_INS, caller)


site = ModerationSite(name="moderation")
