"""Calls that are refused early are calls as well."""

from __future__ import annotations

from typing import Any

from rest_framework.exceptions import Throttled
from rest_framework.request import Request

from registry.errors import TooManyRequestsError


class RefusalsCountMixin:
    """View whose refusals count like its answers.

    REST framework asks the throttles last, so a wrong token or an unknown parameter would cost the
    caller nothing, however often it is sent.
    """

    def initial(self, request: Request, *args: Any, **kwargs: Any) -> None:
        """All checks before the call itself; a refusal is counted before it is answered."""
        try:
            super().initial(request, *args, **kwargs)  # type: ignore[misc]
        except (Throttled, TooManyRequestsError):
            raise
        except Exception:
            self.check_throttles(request)  # type: ignore[attr-defined]
            raise
