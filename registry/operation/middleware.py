"""The addresses of those who run the service, beside those of the interface."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Final

from django.http import HttpRequest, HttpResponse, HttpResponseBase, JsonResponse

from registry.api.problems import Problem, ProblemResponse, not_found, problem_of, problem_of_status
from registry.errors import ErrorCode, NotReadyError
from registry.operation.health import check_ready
from registry.operation.metrics import metrics_answer

_READ: Final = frozenset({"GET", "HEAD"})
Answer = Callable[[HttpRequest], HttpResponse]


class OperationMiddleware:
    """Answers ``/health/live``, ``/health/ready`` and ``/metrics`` before anything else does.

    No host name is checked, nothing is sent to HTTPS, counted, limited or logged: a probe calls by
    address, often, and has to be answered when the rest is not.
    """

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponseBase]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        """Answer of ours, or of the rest of the service."""
        answer = ANSWERS.get(request.path_info)
        if answer is None:
            return self.get_response(request)
        if request.method not in _READ:
            detail = f"{request.path} is read with GET."
            refused = Problem(ErrorCode.METHOD_NOT_ALLOWED, detail, headers={"Allow": "GET, HEAD"})
            return ProblemResponse(refused, path=request.path)
        response = answer(request)
        response.headers.setdefault("Cache-Control", "no-store")
        response.headers["X-Content-Type-Options"] = "nosniff"
        return response


def live(request: HttpRequest) -> HttpResponse:
    """The process answers. No database: one that is down is no reason to restart the service."""
    return JsonResponse({"status": "live"})


def ready(request: HttpRequest) -> HttpResponse:
    """The service can answer callers."""
    try:
        check_ready()
    except NotReadyError as error:
        problem = problem_of(error) or problem_of_status(error.status)
        return ProblemResponse(problem, path=request.path)
    return JsonResponse({"status": "ready"})


def metrics(request: HttpRequest) -> HttpResponse:
    """Prometheus metrics, to those who may see them; to others there is nothing here."""
    answer = metrics_answer(request)
    return not_found(request, Exception()) if answer is None else answer


ANSWERS: Final[Mapping[str, Answer]] = {
    "/health/live": live,
    "/health/ready": ready,
    "/metrics": metrics,
}
