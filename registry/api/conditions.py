"""Conditional requests (RFC 9110, section 13): ETags of reads, ``If-Match`` of edits.

An ETag is the SHA-256 of the bytes answered: equal for everybody who sees the same, and for no two
states. A view of an edit reads its `Precondition` and hands ``check`` to the service, which calls
it inside its transaction, after its lock, with what a GET would answer now. So two edits based on
the same state never both succeed.

    @conditional_edit
    def delete(self, request, clutch_id):
        precondition = Precondition(request)
        clutch_withdraw(keeper, clutch_id, unchanged=lambda now: precondition.check(shown(now)))
"""

from __future__ import annotations

import hashlib
import re
from collections.abc import Callable
from http import HTTPStatus
from typing import Any, Final, TypeVar

from django.http import HttpRequest, HttpResponse, HttpResponseBase
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework.request import Request

from registry.api.renderers import rendered
from registry.api.replacing import stands_for
from registry.errors import InvalidHeaderError, PreconditionFailedError, PreconditionRequiredError

_READING: Final = frozenset({"GET", "HEAD"})
_ETAG: Final = r'(?:W/)?"[!#-~]*"'
# A header that was sent in several lines arrives as one, with commas.
IF_MATCH_PATTERN: Final = rf"^(?:\*|{_ETAG}(?: *, *{_ETAG})*)$"
_TAGS: Final = re.compile(_ETAG)
_MOST_OF_A_HEADER: Final = 4000
_HOW: Final = (
    "GET it first and send the ETag of that answer as If-Match; 'If-Match: *' stands for any state."
)
# What a 304 keeps of the answer that it stands for; the rest describes a body that is not sent.
_NOT_MODIFIED_DROPS: Final = frozenset({"content-type", "content-length", "content-encoding"})

View = TypeVar("View", bound=Callable[..., Any])


def etag_of(body: bytes) -> str:
    """Strong ETag of an answer."""
    return f'"{hashlib.sha256(body).hexdigest()}"'


class Precondition:
    """What an edit is based on, by its ``If-Match``.

    Raises
    ------
    PreconditionRequiredError
        The header is missing.
    InvalidHeaderError
        It is neither ``*`` nor a list of ETags.
    """

    def __init__(self, request: Request | HttpRequest) -> None:
        text = request.META.get("HTTP_IF_MATCH")
        if text is None:
            raise PreconditionRequiredError(f"An edit says which state it was made for. {_HOW}")
        text = text.strip()
        if len(text) > _MOST_OF_A_HEADER or not re.fullmatch(IF_MATCH_PATTERN, text):
            raise InvalidHeaderError(
                "The If-Match header can not be read; expected * or one or more ETags, each in "
                "double quotes as the GET gave it.",
                header="If-Match",
            )
        self.any_state = text == "*"
        # A weak ETag promises less than equal bytes, so by RFC 9110 it never matches here.
        self._strong = {tag for tag in _TAGS.findall(text) if not tag.startswith("W/")}

    def check(self, current: Any) -> None:
        """Hold the present state, as a GET would answer it, against what the edit is based on.

        Raises
        ------
        PreconditionFailedError
            It is another one.
        """
        if self.any_state or etag_of(rendered(current)) in self._strong:
            return
        raise PreconditionFailedError(
            f"It has changed since the answer that If-Match names, or was never so. {_HOW}"
        )


conditional_edit: Callable[[View], View] = extend_schema(
    parameters=[
        OpenApiParameter(
            name="If-Match",
            location=OpenApiParameter.HEADER,
            required=True,
            type={"type": "string", "pattern": IF_MATCH_PATTERN, "maxLength": _MOST_OF_A_HEADER},
            description="ETag of the state that the edit is made for, from a GET; `*` for any.",
        )
    ]
)
"""Decorator for the method of a view that reads a `Precondition`: the document tells of it."""


class ConditionalReadMiddleware:
    """Gives JSON that was read its ETag, and 304 to a caller who has it already."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponseBase]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        """The answer, or that it is not modified."""
        response = self.get_response(request)
        if not isinstance(response, HttpResponse) or not _is_json_read(request, response):
            return response
        etag = response.headers.get("ETag") or etag_of(response.content)
        response.headers["ETag"] = etag
        known = request.META.get("HTTP_IF_NONE_MATCH", "")
        if known.strip() != "*" and _opaque(etag) not in map(_opaque, _TAGS.findall(known)):
            return response
        return _not_modified(response)


def _is_json_read(request: HttpRequest, response: HttpResponse) -> bool:
    kind = response.headers.get("Content-Type", "").partition(";")[0]
    return (
        request.method in _READING
        and response.status_code == HTTPStatus.OK
        and (kind == "application/json" or kind.endswith("+json"))
    )


def _opaque(etag: str) -> str:
    """What `If-None-Match` compares: weakness aside."""
    return etag.removeprefix("W/")


def _not_modified(response: HttpResponse) -> HttpResponse:
    empty = HttpResponse(status=HTTPStatus.NOT_MODIFIED)
    del empty.headers["Content-Type"]
    stands_for(empty, response, but=_NOT_MODIFIED_DROPS)
    return empty
