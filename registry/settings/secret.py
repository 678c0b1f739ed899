"""A secret made once and kept in a file that only its owner reads."""

from __future__ import annotations

import contextlib
import os
import secrets
import time
from pathlib import Path
from typing import Final

_LENGTH: Final = 48
_PATIENCE_SECONDS: Final = 5.0


def stored_secret(path: Path) -> str:
    """The secret kept at ``path``; made at the first call, mode 0600.

    Several processes may call at once: the file appears whole, and the first one made is kept.
    Raises `OSError` if the folder can't be written, `ValueError` if the file is empty.
    """
    deadline = time.monotonic() + _PATIENCE_SECONDS
    while True:
        with contextlib.suppress(FileNotFoundError):
            if secret := path.read_text(encoding="ascii").strip():
                return secret
            message = f"{path} is empty; it should hold a secret. Restore it or remove it."
            raise ValueError(message)
        if time.monotonic() > deadline:
            message = f"{path} can't be made."
            raise OSError(message)
        _make(path)


def _make(path: Path) -> None:
    """Write a new secret beside ``path`` and link it there, unless another was quicker."""
    draft = path.with_name(f"{path.name}.{secrets.token_hex(8)}")
    descriptor = os.open(draft, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    try:
        with os.fdopen(descriptor, "w", encoding="ascii") as file:
            file.write(secrets.token_urlsafe(_LENGTH) + "\n")
            file.flush()
            os.fsync(file.fileno())
        with contextlib.suppress(FileExistsError):
            os.link(draft, path)
    finally:
        draft.unlink()
