"""What holds for every path: readable text, bodies of a bounded size, errors as problems."""

from __future__ import annotations

import re
from collections.abc import Callable
from http import HTTPStatus
from tempfile import SpooledTemporaryFile
from typing import IO, Any, Final
from urllib.parse import unquote_to_bytes

from django.conf import settings
from django.http import HttpRequest, HttpResponse, HttpResponseBase

from registry.api.problems import (
    MEDIA_TYPE,
    ProblemResponse,
    parameter_problem,
    problem_of,
    problem_of_status,
)
from registry.api.replacing import stands_for
from registry.errors import (
    BodyTooLargeError,
    IncompleteBodyError,
    RegistryError,
    UnreadableCharactersError,
)

# Belong to the body that is replaced, or to how it was made.
_BODY_HEADERS: Final = frozenset(
    {"content-type", "content-length", "content-encoding", "content-disposition", "etag"}
)
# A refused body is still read up to here: a client that is cut off while it sends sees a broken
# connection and not the answer.
_MOST_DRAINED: Final = 16 * 1024 * 1024
_PIECE: Final = 64 * 1024
_MOST_IN_MEMORY: Final = 1_000_000
_JOINED: Final = "_joined_body"
TELLS_FAULTS: Final = "tells_faults"
"""Set on an answer that shows what is wrong by itself, such as a form: it stays as it is."""


class ProblemMiddleware:
    """Stands first: refuses what no view should see, and turns every other error into a problem."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponseBase]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        """Answer of the service, errors as problems."""
        problem = _text_problem(request)
        if problem is not None:
            return problem
        response = self.get_response(request)
        joined = getattr(request, _JOINED, None)
        if joined is not None:
            # An answer by lines may read the body until it ends.
            response._resource_closers.append(  # type: ignore[attr-defined] # noqa: SLF001 - no other way
                joined.close
            )
        return _as_problem(request, response)

    def process_view(
        self, request: HttpRequest, view: Callable[..., Any], args: Any, kwargs: Any
    ) -> HttpResponse | None:
        """Refuse a body that is too large before anything reads it.

        The limit is the view's ``max_body_bytes``, else ``DATA_UPLOAD_MAX_MEMORY_SIZE``.
        """
        own = getattr(getattr(view, "cls", None), "max_body_bytes", None)
        limit: int | None = own or settings.DATA_UPLOAD_MAX_MEMORY_SIZE
        if limit is None:
            return None
        try:
            _bound_body(request, limit=limit)
        except RegistryError as error:
            return _problem(request, error)
        return None


def _problem(request: HttpRequest, error: RegistryError) -> HttpResponse:
    problem = problem_of(error) or problem_of_status(error.status)
    return ProblemResponse(problem, path=request.path)


# --- text -------------------------------------------------------------------------------------


def _text_problem(request: HttpRequest) -> HttpResponse | None:
    if "\x00" in request.path:
        return _problem(request, UnreadableCharactersError("The path holds a NUL character."))
    for name, text in _raw_parameters(request.META.get("QUERY_STRING", "")):
        fault = _fault_of(name) or _fault_of(text)
        if fault is not None:
            problem = parameter_problem(
                UnreadableCharactersError(fault), name=name.decode("utf-8", "replace")
            )
            return ProblemResponse(problem, path=request.path)
    return None


def _raw_parameters(query: str) -> list[tuple[bytes, bytes]]:
    """Names and values as bytes: Django would replace what is no UTF-8 and say nothing."""
    raw = query.encode("utf-8" if re.search("[^\x00-\xff]", query) else "latin-1", "replace")
    parts = (part.replace(b"+", b" ").partition(b"=") for part in raw.split(b"&") if part)
    return [(unquote_to_bytes(name), unquote_to_bytes(text)) for name, _equals, text in parts]


def _fault_of(raw: bytes) -> str | None:
    if b"\x00" in raw:
        return "The text holds a NUL character."
    try:
        raw.decode("utf-8")
    except UnicodeDecodeError as error:
        return f"The text is not UTF-8: byte {error.start + 1} begins no character."
    return None


# --- size -------------------------------------------------------------------------------------


def _bound_body(request: HttpRequest, *, limit: int) -> None:
    stated = request.META.get("CONTENT_LENGTH") or ""
    if stated.isdigit():
        if int(stated) > limit:
            _drain(request, n_bytes=int(stated))
            raise BodyTooLargeError(limit=limit)
    elif request.META.get("wsgi.input_terminated"):
        _read_chunked(request, limit=limit)


def _drain(request: HttpRequest, *, n_bytes: int) -> None:
    left = min(n_bytes, _MOST_DRAINED)
    while left > 0:
        piece = request.read(min(left, _PIECE))
        if not piece:
            return
        left -= len(piece)


def _read_chunked(request: HttpRequest, *, limit: int) -> None:
    """Read a body of no stated length, at most ``limit`` bytes.

    Django takes a body without a length for empty. The server says with ``wsgi.input_terminated``
    that reading to the end is safe, so the body is read here and handed on with its length. What
    is larger than most bodies may be waits in a file.
    """
    source = request.META["wsgi.input"]
    joined: IO[bytes] = SpooledTemporaryFile(  # noqa: SIM115 - closed with the answer
        max_size=_MOST_IN_MEMORY
    )
    n_read = 0
    try:
        while piece := source.read(_PIECE):
            n_read += len(piece)
            if n_read <= limit:
                joined.write(piece)
            elif n_read > limit + _MOST_DRAINED:
                break
    except OSError as error:  # the connection is gone, or the chunks are none
        joined.close()
        raise IncompleteBodyError(read=n_read, stated=None) from error
    if n_read > limit:
        joined.close()
        raise BodyTooLargeError(limit=limit)
    joined.seek(0)
    setattr(request, _JOINED, joined)
    request.META["CONTENT_LENGTH"] = str(n_read)
    request._stream = joined  # type: ignore[assignment] # noqa: SLF001 - see above


# --- answers ----------------------------------------------------------------------------------


def _as_problem(request: HttpRequest, response: HttpResponseBase) -> HttpResponseBase:
    if response.status_code < HTTPStatus.BAD_REQUEST:
        return response
    if response.headers.get("Content-Type", "").partition(";")[0] == MEDIA_TYPE:
        return response
    if getattr(response, TELLS_FAULTS, False):
        return response
    said = getattr(response, "data", None)
    detail = said.get("detail") if isinstance(said, dict) else None
    problem = problem_of_status(response.status_code, str(detail) if detail else None)
    replaced = ProblemResponse(problem, path=request.path)
    stands_for(replaced, response, but=_BODY_HEADERS)
    return replaced
