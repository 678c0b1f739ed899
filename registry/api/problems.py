"""Every error of the service as a problem of RFC 9457.

The only place where a refusal of a service or of the genetics, an exception of the framework or
Django's own 400, 403, 404 and 500 becomes an answer. ``type`` is a URN of our own that ends in the
code; ``errors`` names the fields and parameters. When there is one single fault, its parts
(``suggestions``, ``readings``) stand at the top level as well.
"""

from __future__ import annotations

import json
import logging
import sys
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from http import HTTPStatus
from math import ceil
from typing import Any, Final

from django.core.exceptions import (
    BadRequest,
    PermissionDenied,
    RequestDataTooBig,
    SuspiciousOperation,
)
from django.core.exceptions import ValidationError as ModelValidationError
from django.db import OperationalError
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseBase
from django.http.multipartparser import MultiPartParserError
from django.urls import is_valid_path
from django.utils.encoding import escape_uri_path
from rest_framework import exceptions as rest
from rest_framework.views import set_rollback

from genetics.errors import GeneticsError, listed
from registry.api.database_faults import refusal_of
from registry.api.faults import Fault, body_faults, model_faults, parameter_faults, placed_fault
from registry.api.parsers import content_coding
from registry.errors import (
    BodyTooLargeError,
    ErrorCode,
    FieldsError,
    PlacedError,
    RegistryError,
    error_code,
)
from registry.wording import wait_text

logger = logging.getLogger("registry.problems")

MEDIA_TYPE: Final = "application/problem+json"
TYPE_PREFIX: Final = "urn:broodcount:problem:"
STANDARD_MEMBERS: Final = frozenset(
    {"type", "title", "status", "detail", "instance", "code", "errors"}
)
_SAFE_METHODS = frozenset({"GET", "HEAD", "OPTIONS"})

_CODE_OF_STATUS: Final = {
    401: ErrorCode.NOT_AUTHENTICATED,
    403: ErrorCode.FORBIDDEN,
    404: ErrorCode.NOT_FOUND,
    405: ErrorCode.METHOD_NOT_ALLOWED,
    406: ErrorCode.NOT_ACCEPTABLE,
    413: ErrorCode.BODY_TOO_LARGE,
    415: ErrorCode.UNSUPPORTED_MEDIA_TYPE,
    429: ErrorCode.TOO_MANY_REQUESTS,
}


@dataclass(frozen=True, slots=True)
class Problem:
    """One problem: what RFC 9457 names, our code, the faults by field, further members."""

    code: ErrorCode
    detail: str
    faults: tuple[Fault, ...] = ()
    members: Mapping[str, object] = field(default_factory=dict)
    headers: Mapping[str, str] = field(default_factory=dict)
    status_override: int | None = None

    @property
    def status(self) -> int:
        """HTTP status: the code's, unless something else already answered with another."""
        return self.status_override or self.code.http_status

    def document(self, *, instance: str | None = None) -> dict[str, object]:
        """The problem as JSON; ``instance`` is the path that was called."""
        known: dict[str, object] = {
            "type": f"{TYPE_PREFIX}{self.code}",
            "title": self.code.heading,
            "status": self.status,
            "detail": self.detail,
        }
        if instance is not None:
            known["instance"] = instance
        known |= {"code": str(self.code), "errors": [fault.document() for fault in self.faults]}
        extra = {name: v for name, v in self.members.items() if name not in STANDARD_MEMBERS}
        return {**known, **extra}


class ProblemResponse(HttpResponse):
    """A problem as an answer. No form is negotiated: errors come in this one only."""

    def __init__(self, problem: Problem, *, path: str) -> None:
        document = problem.document(instance=escape_uri_path(path))
        text = json.dumps(document, ensure_ascii=False, allow_nan=False, default=str)
        super().__init__(
            # A half surrogate pair that got this far is shown as "?".
            text.encode("utf-8", "replace"),
            content_type=MEDIA_TYPE,
            status=problem.status,
            headers={"Cache-Control": "no-store", **problem.headers},
        )


# --- from exceptions --------------------------------------------------------------------------


def problem_of_faults(faults: Sequence[Fault]) -> Problem:
    """One problem that names every fault; its detail is that of the first."""
    codes = {fault.code for fault in faults}
    code = codes.pop() if len(codes) == 1 else ErrorCode.INVALID_BODY
    first = faults[0]
    where = f"{first.where}: " if first.where else ""
    detail = f"{where}{first.detail}"
    if len(faults) > 1:
        detail = f"{len(faults)} faults were found. The first: {detail}"
    members = first.extras if len(faults) == 1 else {}
    return Problem(code, detail, tuple(faults), members)


def _of_refusal(error: RegistryError | GeneticsError) -> Problem:
    code = error_code(error.code)
    members = error.details()
    headers = _challenge(code)
    if "retry_after" in members:
        headers["Retry-After"] = str(members["retry_after"])
    return Problem(code, error.message, members=members, headers=headers)


def _challenge(code: ErrorCode) -> dict[str, str]:
    """`WWW-Authenticate` of RFC 6750, which every 401 needs: for a token, or for another one."""
    if code in {ErrorCode.NOT_AUTHENTICATED, ErrorCode.UNKNOWN_RECOVERY_CODE}:
        return {"WWW-Authenticate": "Bearer"}
    if code in {ErrorCode.UNKNOWN_TOKEN, ErrorCode.EXPIRED_TOKEN}:
        return {"WWW-Authenticate": 'Bearer error="invalid_token"'}
    return {}


def _of_validation(error: rest.ValidationError, context: Mapping[str, Any]) -> Problem:
    request = context.get("request")
    from_query = request is not None and request.method in _SAFE_METHODS
    read = parameter_faults if from_query else body_faults
    return problem_of_faults(read(error.detail))


def _of_method(error: rest.MethodNotAllowed, context: Mapping[str, Any]) -> Problem:
    allowed: list[str] = context["view"].allowed_methods
    method = context["request"].method
    return Problem(
        ErrorCode.METHOD_NOT_ALLOWED,
        f"{method} is not known here; this call knows {listed(allowed, joiner='and')}.",
        members={"allowed": allowed},
        headers={"Allow": ", ".join(allowed)},
    )


def _of_media_type(error: rest.UnsupportedMediaType, context: Mapping[str, Any]) -> Problem:
    read = sorted({parser.media_type for parser in context["view"].parser_classes})
    sent = context["request"].content_type
    if coding := content_coding(context["request"].headers):
        # RFC 9110, 15.5.16: the header tells that it was the coding, and which are read.
        return Problem(
            ErrorCode.UNSUPPORTED_MEDIA_TYPE,
            f"The body was sent with 'Content-Encoding: {coding}'; bodies are read as they are, "
            "neither compressed nor coded otherwise.",
            members={"allowed": read},
            headers={"Accept-Encoding": "identity"},
        )
    return Problem(
        ErrorCode.UNSUPPORTED_MEDIA_TYPE,
        f"The body was sent as {sent!r}; this call reads {listed(read)}.",
        members={"allowed": read},
    )


def _of_accept(error: rest.NotAcceptable, context: Mapping[str, Any]) -> Problem:
    given = sorted({renderer.media_type for renderer in context["view"].renderer_classes})
    asked = context["request"].META.get("HTTP_ACCEPT", "")
    return Problem(
        ErrorCode.NOT_ACCEPTABLE,
        f"The request accepts {asked!r}; this call answers with {listed(given)}.",
        members={"allowed": given},
    )


def _of_throttle(error: rest.Throttled, context: Mapping[str, Any]) -> Problem:
    wait: float | None = getattr(error, "wait", None)
    seconds = f" Try again in {wait_text(wait)}." if wait else ""
    headers = {"Retry-After": str(ceil(wait))} if wait else {}
    return Problem(
        ErrorCode.TOO_MANY_REQUESTS, f"Too many requests came in.{seconds}", headers=headers
    )


def _of_too_big(error: RequestDataTooBig, context: Mapping[str, Any]) -> Problem:
    from django.conf import settings  # noqa: PLC0415 - read when asked, tests change it

    return _of_refusal(BodyTooLargeError(limit=settings.DATA_UPLOAD_MAX_MEMORY_SIZE or 0))


def _of_database(error: OperationalError, context: Mapping[str, Any]) -> Problem | None:
    refusal = refusal_of(error)
    return None if refusal is None else _of_refusal(refusal)


def _fixed(code: ErrorCode, detail: str) -> Callable[[Any, Mapping[str, Any]], Problem]:
    return lambda _error, _context: Problem(code, detail, headers=_challenge(code))


_NO_TOKEN = "Send 'Authorization: Bearer <token>' with the token given at registration."  # noqa: S105
_BAD_TOKEN = "The token in the Authorization header belongs to no keeper."  # noqa: S105
_UNREADABLE = "The request can not be read: its host, form data or headers are not as expected."

# The first that fits is used, so children stand before their parents.
_Reader = Callable[[Any, Mapping[str, Any]], Problem | None]
_READERS: Final[Sequence[tuple[type[Exception], _Reader]]] = (
    (
        FieldsError,
        lambda error, _context: problem_of_faults([placed_fault(e) for e in error.errors]),
    ),
    (RegistryError, lambda error, _context: _of_refusal(error)),
    (GeneticsError, lambda error, _context: _of_refusal(error)),
    (rest.ValidationError, _of_validation),
    (rest.ParseError, lambda error, _context: Problem(ErrorCode.NOT_JSON, str(error.detail))),
    (rest.NotAuthenticated, _fixed(ErrorCode.NOT_AUTHENTICATED, _NO_TOKEN)),
    (rest.AuthenticationFailed, _fixed(ErrorCode.UNKNOWN_TOKEN, _BAD_TOKEN)),
    (rest.MethodNotAllowed, _of_method),
    (rest.UnsupportedMediaType, _of_media_type),
    (rest.NotAcceptable, _of_accept),
    (rest.Throttled, _of_throttle),
    (rest.PermissionDenied, _fixed(ErrorCode.FORBIDDEN, "This keeper may not do this.")),
    (PermissionDenied, _fixed(ErrorCode.FORBIDDEN, "This keeper may not do this.")),
    (rest.NotFound, lambda _error, context: _not_found_at(context["request"].path)),
    (Http404, lambda _error, context: _not_found_at(context["request"].path)),
    (ModelValidationError, lambda error, _context: problem_of_faults(model_faults(error))),
    (RequestDataTooBig, _of_too_big),
    (SuspiciousOperation, _fixed(ErrorCode.BAD_REQUEST, _UNREADABLE)),
    (BadRequest, _fixed(ErrorCode.BAD_REQUEST, _UNREADABLE)),
    (MultiPartParserError, _fixed(ErrorCode.BAD_REQUEST, _UNREADABLE)),
    (rest.APIException, lambda error, _context: problem_of_status(error.status_code)),
    (OperationalError, _of_database),
)


def problem_of(error: Exception, context: Mapping[str, Any] | None = None) -> Problem | None:
    """The problem of an exception, or None for one that is nobody's fault but the service's.

    ``context`` holds ``request`` and ``view``, as REST framework gives it; refusals of services
    and of the genetics need none (bulk answers use this for each line).
    """
    for kind, read in _READERS:
        if isinstance(error, kind):
            return read(error, context or {})
    return None


def _not_found_at(path: str, *, meant: str | None = None) -> Problem:
    # Whoever reads a page has no use for the list of calls.
    calls = " All calls are listed in /api/v1/openapi.json." if path.startswith("/api/") else ""
    hint = f" Did you mean {escape_uri_path(meant)}?" if meant else ""
    return Problem(
        ErrorCode.NOT_FOUND, f"Nothing is found at {escape_uri_path(path)}.{calls}{hint}"
    )


def problem_of_status(status: int, detail: str | None = None) -> Problem:
    """The problem of an error status that something answered with without saying more."""
    fallback = (
        ErrorCode.SERVER_ERROR
        if status >= HTTPStatus.INTERNAL_SERVER_ERROR
        else ErrorCode.BAD_REQUEST
    )
    code = _CODE_OF_STATUS.get(status, fallback)
    text = detail or f"{code.heading}."
    return Problem(code, text, headers=_challenge(code), status_override=status)


# --- doors: REST framework, Django --------------------------------------------------------------


def problem_response(error: Exception, context: Mapping[str, Any]) -> HttpResponseBase | None:
    """Exception handler of REST framework.

    What is no refusal gives None: Django then logs it with its traceback and answers through
    `server_error`.
    """
    problem = problem_of(error, context)
    if problem is None:
        return None
    set_rollback()
    if problem.status >= HTTPStatus.INTERNAL_SERVER_ERROR:
        logger.error("%s: %s", problem.code, problem.detail, exc_info=error)
    return ProblemResponse(problem, path=context["request"].path)


def bad_request(request: HttpRequest, exception: Exception) -> HttpResponse:
    """Django's handler400."""
    problem = problem_of(exception, {"request": request}) or problem_of_status(400)
    return ProblemResponse(problem, path=request.path)


def permission_denied(request: HttpRequest, exception: Exception) -> HttpResponse:
    """Django's handler403."""
    return ProblemResponse(problem_of_status(403), path=request.path)


def not_found(request: HttpRequest, exception: Exception) -> HttpResponse:
    """Django's handler404."""
    # A redirect would lose the body of a POST, so the missing slash is only pointed out.
    slashed = request.path_info + "/"
    meant = request.path + "/" if is_valid_path(slashed) else None
    return ProblemResponse(_not_found_at(request.path, meant=meant), path=request.path)


def server_error(request: HttpRequest) -> HttpResponse:
    """Django's handler500: says nothing of the inside, the log has it.

    What ends here was raised beside REST framework: in a page or in what is around all views. A
    database that broke off or went away is told as it is; Django calls this while it handles that.
    """
    raised = sys.exc_info()[1]
    problem = problem_of(raised) if isinstance(raised, OperationalError) else None
    problem = problem or problem_of_status(500, "The service failed; the fault is logged there.")
    return ProblemResponse(problem, path=request.path)


def parameter_problem(error: RegistryError, *, name: str) -> Problem:
    """The problem of one refused parameter, for the middleware."""
    return problem_of_faults([placed_fault(PlacedError(error, parameter=name))])
