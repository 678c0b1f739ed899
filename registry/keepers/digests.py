"""Secrets and their digests. A secret is shown once; the database has the digest only."""

from __future__ import annotations

import hashlib
import secrets

from registry.keepers.choices import SECRET_BYTES


def new_secret(prefix: str) -> str:
    """A random secret behind a prefix that says what it is."""
    return prefix + secrets.token_urlsafe(SECRET_BYTES)


def digest_of(secret: str) -> str:
    """SHA-256 of a secret.

    Looked up by equality in an index: with 256 random bits in the secret, the time of the look-up
    tells nothing that could be used.
    """
    return hashlib.sha256(secret.encode()).hexdigest()
