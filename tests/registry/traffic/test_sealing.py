"""What is kept of an answer gives nothing away without its key."""

from __future__ import annotations

import hashlib
import uuid

import pytest
from cryptography.exceptions import InvalidTag
from cryptography.hazmat.primitives.ciphers.aead import AESGCM
from cryptography.hazmat.primitives.hashes import SHA256
from cryptography.hazmat.primitives.kdf.hkdf import HKDF

from registry.traffic.sealing import Answer, key_digest, opened, sealed

KEEPER = uuid.UUID(int=7)
KEY = "8e03978e-40d5-43dd-bc93-6894a57f9324"
PRINT = hashlib.sha256(b"a request").digest()
ANSWER = Answer(201, b'{"token": "bck_secret"}\n\x00', {"Content-Type": "application/json"})


def test_sealed__opens_with_its_key_to_the_same_bytes():
    digest = key_digest(KEEPER, KEY)
    kept = sealed(ANSWER, key=KEY, digest=digest, fingerprint=PRINT)
    fingerprint, again = opened(kept, key=KEY, digest=digest)
    assert fingerprint == PRINT
    assert again == Answer(ANSWER.status, ANSWER.body, ANSWER.headers, is_replayed=True)


def test_sealed__holds_nothing_readable_and_never_the_same_twice():
    digest = key_digest(KEEPER, KEY)
    first, second = (sealed(ANSWER, key=KEY, digest=digest, fingerprint=PRINT) for _ in range(2))
    assert first != second
    for secret in (b"bck_secret", b"token", KEY.encode(), PRINT, b"json"):
        assert secret not in first
        assert secret not in digest


@pytest.mark.parametrize(
    ("key", "caller"), [(KEY + "x", KEEPER), (KEY, None), (KEY, uuid.UUID(int=8))]
)
def test_opened__refuses_another_key_row_or_caller(key, caller):
    kept = sealed(ANSWER, key=KEY, digest=key_digest(KEEPER, KEY), fingerprint=PRINT)
    with pytest.raises(InvalidTag):
        opened(kept, key=key, digest=key_digest(caller, key))
    with pytest.raises(InvalidTag):
        opened(kept[:-1] + bytes([kept[-1] ^ 1]), key=KEY, digest=key_digest(KEEPER, KEY))


def test_sealed__is_aes_gcm_under_hkdf_of_the_key():
    """Opened here from the two standards alone (RFC 5869, SP 800-38D), by no code of ours."""
    digest = hashlib.sha256(b"broodcount stored answer\0nobody\0" + KEY.encode()).digest()
    kept = sealed(ANSWER, key=KEY, digest=digest, fingerprint=PRINT)
    hkdf = HKDF(algorithm=SHA256(), length=32, salt=digest, info=b"broodcount stored answer")
    plain = AESGCM(hkdf.derive(KEY.encode())).decrypt(kept[:12], kept[12:], digest)
    assert digest == key_digest(None, KEY)
    assert plain.startswith(PRINT)
    assert plain.endswith(ANSWER.body)
