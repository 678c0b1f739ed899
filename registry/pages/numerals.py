"""Digits as they are written in a power of ten."""

from __future__ import annotations

from typing import Final

_RAISED: Final = str.maketrans(
    "-0123456789", "\u207b\u2070\u00b9\u00b2\u00b3\u2074\u2075\u2076\u2077\u2078\u2079"
)


def raised(power: int) -> str:
    """An exponent, as it stands behind its ten."""
    return str(power).translate(_RAISED)
