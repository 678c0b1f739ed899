"""The pages of moderation: Django's admin, closed unless the operator opens it."""

from __future__ import annotations

from typing import Any

from django.conf import settings
from django.contrib.admin import AdminSite
from django.http import Http404, HttpRequest, HttpResponse

from registry.api.problems import ProblemResponse, problem_of, problem_of_status
from registry.errors import TooManyRequestsError
from registry.traffic.callers import anonymous_caller
from registry.traffic.limits import calls_counted


class ModerationSite(AdminSite):
    """Answers 404 everywhere unless ``BROODCOUNT_ADMIN`` is on."""

    site_header = "Broodcount moderation"
    site_title = "Broodcount moderation"
    index_title = "What can be looked at"
    site_url = None
    enable_nav_sidebar = False

    def admin_view(
        self,
        view: Any,
        cacheable: bool = False,  # noqa: FBT001, FBT002 - as in Django
    ) -> Any:
        """Every page but the one to sign in."""
        inner = super().admin_view(view, cacheable)

        def opened(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
            _open()
            answer: HttpResponse = inner(request, *args, **kwargs)
            return answer

        return opened

    def login(
        self, request: HttpRequest, extra_context: dict[str, Any] | None = None
    ) -> HttpResponse:
        """Sign in. Attempts count like calls of nobody, so passwords can't be tried out."""
        _open()
        if request.method == "POST":
            count = calls_counted(anonymous_caller(request))
            if count is not None and count.is_refused:
                refused = TooManyRequestsError(
                    "Too many attempts to sign in.", retry_after=count.seconds_left
                )
                problem = problem_of(refused) or problem_of_status(refused.status)
                return ProblemResponse(problem, path=request.path)
        return super().login(request, extra_context)


def _open() -> None:
    if not settings.BROODCOUNT_ADMIN:
        raise Http404


site = ModerationSite(name="moderation")
