"""The form of answers."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from rest_framework.renderers import JSONRenderer


class OneFormJSONRenderer(JSONRenderer):
    """JSON in one form: a parameter of ``Accept`` changes no white space.

    What is equal then has equal bytes, whoever asks and however, which ETags rest on.
    """

    def get_indent(
        self, accepted_media_type: str, renderer_context: Mapping[str, Any]
    ) -> int | None:
        """None: never indented."""
        return None


def rendered(answer: Any) -> bytes:
    """The bytes of an answer, as every call gives it."""
    return OneFormJSONRenderer().render(answer, "application/json", {})
