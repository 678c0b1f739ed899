"""Logs without secrets: whatever a caller puts a token into, no line of a log repeats it.

A caller may write a token into the path, the query or a header that is not for it, and the server
logs paths of refused calls. So every handler has this filter; no logger has to think of it.
"""

from __future__ import annotations

import logging
import re
from typing import Final

_SECRET: Final = re.compile(r"(bc[kr](?:_|%5f))[a-z0-9_%-]{6,}", re.IGNORECASE)
"""A token or recovery code by its prefix, percent-encoded or not; also one that is cut short."""
_PLAIN: Final = logging.Formatter()


def scrubbed(text: str) -> str:
    """The text with every token and recovery code cut down to its prefix."""
    return _SECRET.sub(r"\1...", text)


class SecretsFilter(logging.Filter):
    """Cuts secrets out of the message and of the traceback, and lets every record pass."""

    def filter(self, record: logging.LogRecord) -> bool:
        """The record itself is changed: what is cut out here is in no later handler either."""
        if isinstance(record.msg, str):
            text = record.getMessage()
            if (clean := self.clean(text)) != text:
                record.msg, record.args = clean, ()
        if record.exc_info and not record.exc_text:
            record.exc_text = _PLAIN.formatException(record.exc_info)
        if record.exc_text:
            record.exc_text = self.clean(record.exc_text)
        return True

    def clean(self, text: str) -> str:
        """The text as it may be logged."""
        return scrubbed(text)
