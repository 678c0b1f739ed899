"""A form that the check against forged forms refused."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse

from registry.api.problems import Problem, ProblemResponse
from registry.errors import ErrorCode

_WHY = (
    "This form was refused because it may not come from our own page. Allow cookies of this site, "
    "load the page anew and send the form once more; nothing was stored."
)


def form_refused(request: HttpRequest, reason: str = "") -> HttpResponse:
    """Django's ``CSRF_FAILURE_VIEW``."""
    return ProblemResponse(Problem(ErrorCode.FORBIDDEN, _WHY), path=request.path)
