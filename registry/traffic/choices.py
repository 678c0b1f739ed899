"""Numbers of retries and limits."""

from __future__ import annotations

from typing import Final

MAX_KEY_LENGTH: Final = 255
MIN_SECRET_KEY_LENGTH: Final = 22
"""Characters of a key that nobody guesses: those of 128 random bits in base64, fewer than a UUID's.

Whoever knows the key of an anonymous call gets its stored answer."""

DIGEST_BYTES: Final = 32
SECONDS_OF_A_MINUTE: Final = 60
SECONDS_OF_A_DAY: Final = 86_400
RETRY_SECONDS: Final = 1
"""What a caller waits whose first call still runs: most end in a tenth of it."""

SWEEP_ONE_IN: Final = 500
"""One write in so many also removes what has expired."""
SWEEP_ROWS: Final = 1_000
"""Rows that such a write removes at most."""
