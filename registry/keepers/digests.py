"""Secrets and their digests. A secret is shown once; the database has the digest only."""

from __future__ import annotations

import hashlib
import hmac
import secrets
import uuid

from registry.keepers.choices import SECRET_BYTES


def new_secret(prefix: str) -> str:
    """A random secret behind a prefix that says what it is."""
    return prefix + secrets.token_urlsafe(SECRET_BYTES)


def digest_of(secret: str) -> str:
    """SHA-256 of a secret.

    Looked up by equality in an index: with 256 random bits in the secret, the time of the look-up
    tells nothing that could be used. What was found is compared once more, by `same_digest`.
    """
    return hashlib.sha256(secret.encode()).hexdigest()


def same_digest(stored: str, given: str) -> bool:
    """Whether two digests are equal, in a time that does not tell where they differ.

    The database decides by its own rules what is equal (collation, trailing blanks); this decides
    by the characters.
    """
    return hmac.compare_digest(stored.encode(), given.encode())


def keeper_digest(keeper_id: uuid.UUID) -> str:
    """SHA-256 of a keeper's id as text, which is all that is kept of an erased keeper.

    The id has 122 random bits, so nobody finds it from the digest; a keeper who has kept the id
    gets the same from ``printf %s ID | sha256sum``.
    """
    return hashlib.sha256(str(keeper_id).encode()).hexdigest()
