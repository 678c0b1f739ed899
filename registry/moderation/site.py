"""The pages of moderation: Django's admin, which `ModerationMiddleware` opens or closes."""

from __future__ import annotations

from typing import Any

from django.contrib.admin import AdminSite
from django.http import HttpRequest, HttpResponse

from registry.api.problems import ProblemResponse, problem_of, problem_of_status
from registry.errors import TooManyRequestsError
from registry.traffic.callers import anonymous_caller
from registry.traffic.limits import calls_counted


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
        """Sign in. Attempts count like calls of nobody, so passwords can't be tried out."""
        if request.method == "POST":
            count = calls_counted(anonymous_caller(request))
            if count is not None and count.is_refused:
                refused = TooManyRequestsError(
                    "Too many attempts to sign in.", retry_after=count.seconds_left
                )
                problem = problem_of(refused) or problem_of_status(refused.status)
                return ProblemResponse(problem, path=request.path)
        return super().login(request, extra_context)


site = ModerationSite(name="moderation")
