"""Answers as they are kept: readable with the ``Idempotency-Key`` alone, which is not kept.

An answer may hold a token. So it is encrypted (AES-256-GCM) with a key that HKDF (RFC 5869)
derives from the ``Idempotency-Key``, and bound to the row it stands in. A caller who repeats the
call sends the key; nobody else can open the answer. The strength is that of the key sent, which is
why calls that answer with secrets demand a long one.
"""

from __future__ import annotations

import hashlib
import json
import os
import uuid
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Final

from cryptography.hazmat.primitives.ciphers.aead import AESGCM
from cryptography.hazmat.primitives.hashes import SHA256
from cryptography.hazmat.primitives.kdf.hkdf import HKDF

from registry.traffic.choices import DIGEST_BYTES

_NONCE_BYTES: Final = 12
_NAME: Final = b"broodcount stored answer"


@dataclass(frozen=True, slots=True)
class Answer:
    """An answer as it was sent; ``headers`` are those that belong to it and not to one sending.

    ``owner`` is the keeper whose erasure takes it along, ``is_replayed`` whether it was stored
    before and is sent again.
    """

    status: int
    body: bytes
    headers: Mapping[str, str] = field(default_factory=dict)
    owner: uuid.UUID | None = None
    is_replayed: bool = False


def key_digest(caller: uuid.UUID | None, key: str) -> bytes:
    """What is kept of a key: SHA-256 of who sent it and the key, 32 bytes."""
    who = caller.hex if caller else "nobody"
    return hashlib.sha256(b"\0".join((_NAME, who.encode(), key.encode()))).digest()


def sealed(answer: Answer, *, key: str, digest: bytes, fingerprint: bytes) -> bytes:
    """An answer with the 32 bytes of its request's fingerprint, encrypted."""
    head = json.dumps([answer.status, dict(answer.headers)]).encode()
    nonce = os.urandom(_NONCE_BYTES)
    plain = b"".join((fingerprint, head, b"\n", answer.body))
    return nonce + _cipher(key, digest).encrypt(nonce, plain, digest)


def opened(kept: bytes, *, key: str, digest: bytes) -> tuple[bytes, Answer]:
    """Fingerprint and answer. `cryptography.exceptions.InvalidTag` if the row was tampered with."""
    plain = _cipher(key, digest).decrypt(kept[:_NONCE_BYTES], kept[_NONCE_BYTES:], digest)
    fingerprint, rest = plain[:DIGEST_BYTES], plain[DIGEST_BYTES:]
    head, _newline, body = rest.partition(b"\n")
    status, headers = json.loads(head)
    return fingerprint, Answer(status, body, headers, is_replayed=True)


def _cipher(key: str, digest: bytes) -> AESGCM:
    derived = HKDF(algorithm=SHA256(), length=32, salt=digest, info=_NAME).derive(key.encode())
    return AESGCM(derived)
