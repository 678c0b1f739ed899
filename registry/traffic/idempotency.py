"""``Idempotency-Key``: a create that is sent again is answered again and not done again.

The header is that of draft-ietf-httpapi-idempotency-key-header. For the method of a view:

    @extend_schema(operation_id=..., request=..., responses={201: ...})
    @answered_once
    def post(self, request): ...

or ``@answered_once(secret=True)`` where the answer holds a secret, which then demands a long key,
as every call of nobody does. With the header the method runs inside one transaction, and its
answer is stored there; without it nothing changes. A view whose answer belongs to a keeper other
than the caller, as that of a new one, says so with `answer_belongs_to`. Many writes of one call use
``registry.traffic.services.answer_once`` for each, with a key made of the header's and the number.
"""

from __future__ import annotations

import hashlib
import re
import uuid
from collections.abc import Callable
from functools import wraps
from typing import Any, Final, overload

from django.http import HttpResponse
from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from registry.errors import InvalidHeaderError
from registry.traffic.choices import MAX_KEY_LENGTH, MIN_SECRET_KEY_LENGTH
from registry.traffic.sealing import Answer
from registry.traffic.services import answer_once
from registry.wording import counted

HEADER: Final = "Idempotency-Key"
REPLAYED: Final = "Idempotency-Replayed"
# Of the answer, whenever it is sent; others (limits, Vary) belong to one sending.
_KEPT_HEADERS: Final = ("Content-Type", "Content-Language", "Cache-Control", "Location", "Link")

Method = Callable[..., Any]


def key_pattern(*, shortest: int) -> str:
    """Regular expression of the header: the key alone, or a string of RFC 8941 in quotes."""
    inner = f"{{{max(shortest - 2, 0)},{MAX_KEY_LENGTH - 2}}}"
    one = "?" if shortest <= 1 else ""
    plain = f"[!#-~](?:[ !#-~]{inner}[!#-~]){one}"
    quoted = rf'"(?:[ !#-\[\]-~]|\\["\\]){{{shortest},{MAX_KEY_LENGTH}}}"'
    return f"^(?:{plain}|{quoted})$"


def key_of(request: Request, *, secret: bool = False) -> str | None:
    """The key of a call, without quotes; None if it sends none.

    ``secret``: the answer holds one. Raises `InvalidHeaderError`.
    """
    text = request.META.get("HTTP_IDEMPOTENCY_KEY")
    if text is None:
        return None
    text = text.strip()
    if not re.fullmatch(key_pattern(shortest=1), text):
        raise InvalidHeaderError(
            f"The {HEADER} header can not be read; expected 1 to {MAX_KEY_LENGTH} printable "
            "characters of ASCII, best in double quotes: a new random UUID for every create.",
            header=HEADER,
        )
    key: str = re.sub(r"\\(.)", r"\1", text[1:-1]) if text.startswith('"') else text
    if len(key) < shortest_key(secret=secret or caller_of(request) is None):
        raise InvalidHeaderError(
            f"The {HEADER} has {counted(len(key), 'character')}; this call expects "
            f"{MIN_SECRET_KEY_LENGTH} or more, such as a random UUID: whoever guesses the key "
            "would get the answer.",
            header=HEADER,
        )
    return key


def shortest_key(*, secret: bool) -> int:
    """Characters that a key has at least."""
    return MIN_SECRET_KEY_LENGTH if secret else 1


def caller_of(request: Request) -> uuid.UUID | None:
    """Whose key it is: the keeper's, or nobody's."""
    return getattr(request.user, "pk", None)


def fingerprint_of(request: Request) -> bytes:
    """SHA-256 of method, path, query and raw body."""
    parts = (
        (request.method or "").encode(),
        request.path.encode(),
        request.META.get("QUERY_STRING", "").encode(),
        request._request.body,  # noqa: SLF001 - the bytes, which REST framework parses afterwards
    )
    whole = hashlib.sha256()
    for part in parts:
        # With its length, so that no two requests run together alike.
        whole.update(len(part).to_bytes(8, "big") + part)
    return whole.digest()


def answer_belongs_to(response: Response, keeper_id: uuid.UUID) -> Response:
    """The response, to be erased with that keeper."""
    response.answer_owner = keeper_id  # type: ignore[attr-defined]
    return response


@overload
def answered_once(method: Method) -> Method: ...
@overload
def answered_once(*, secret: bool) -> Callable[[Method], Method]: ...
def answered_once(method: Method | None = None, *, secret: bool = False) -> Any:
    """Answer a view's method once for an ``Idempotency-Key``; see the module.

    ``secret``: the answer holds one, so the key must be long, and the document says so.
    """
    if method is None:
        return lambda one: _once(one, secret=secret)
    return _once(method, secret=secret)


def _once(method: Method, *, secret: bool) -> Method:
    @wraps(method)
    def answer(view: Any, request: Request, *args: Any, **kwargs: Any) -> Any:
        key = key_of(request, secret=secret)
        if key is None:
            return method(view, request, *args, **kwargs)
        first: Response | None = None

        def write() -> Answer:
            nonlocal first
            first = method(view, request, *args, **kwargs)
            return _answer(view, request, first)

        given = answer_once(
            caller=caller_of(request), key=key, fingerprint=fingerprint_of(request), write=write
        )
        return first if first is not None else _again(given)

    return _documented(secret=secret)(answer)


def _answer(view: Any, request: Request, response: Response) -> Answer:
    """The bytes of a response, before the framework would make them."""
    response.accepted_renderer = request.accepted_renderer
    response.accepted_media_type = request.accepted_media_type
    response.renderer_context = view.get_renderer_context()  # type: ignore[attr-defined]
    response.render()
    kept = {name: response.headers[name] for name in _KEPT_HEADERS if name in response.headers}
    owner = getattr(response, "answer_owner", None)
    return Answer(response.status_code, response.content, kept, owner=owner)


def _again(answer: Answer) -> HttpResponse:
    response = HttpResponse(answer.body, status=answer.status)
    if "Content-Type" not in answer.headers:
        del response.headers["Content-Type"]
    for name, text in {**answer.headers, REPLAYED: "true"}.items():
        response.headers[name] = text
    return response


def _documented(*, secret: bool) -> Callable[[Method], Method]:
    shortest = shortest_key(secret=secret)
    found: Callable[[Method], Method] = extend_schema(
        parameters=[
            OpenApiParameter(
                name=HEADER,
                location=OpenApiParameter.HEADER,
                type={"type": "string", "pattern": key_pattern(shortest=shortest)},
                description="A new random UUID for every create. Sent again with the same key, "
                "the call is answered with the stored answer and done only once."
                + (f" At least {shortest} characters here." if secret else ""),
            )
        ]
    )
    return found
