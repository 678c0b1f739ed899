"""Forms that make a secret: sent twice, they make it once.

A button is pressed twice, a page is loaded anew, a connection breaks before the answer comes. A
second keeper or token would then stand beside the first, and of a recovery code, which is taken
once, nothing would be left. So such a form carries a number of its own, ``press``, and is answered
like a call with an ``Idempotency-Key``. What it made is shown again for a moment only: whoever goes
back to the form on this device later is not to read it.
"""

from __future__ import annotations

import hashlib
import json
import time
import uuid
from collections.abc import Callable, Mapping
from typing import Final

from django.utils import timezone

from registry.errors import KeyInUseError, PreconditionFailedError
from registry.traffic.choices import MAX_KEY_LENGTH, MIN_SECRET_KEY_LENGTH
from registry.traffic.sealing import Answer
from registry.traffic.services import answer_once

PRESS: Final = "press"
SHOWN_AGAIN_SECONDS: Final = 120
_TRIES: Final = 40
_PAUSE_SECONDS: Final = 0.05
_MADE_AT: Final = "made_at"

Secrets = Mapping[str, str]


def new_press() -> str:
    """The number of a form that is about to be shown."""
    return str(uuid.uuid4())


def secrets_once(
    posted: Mapping[str, str],
    *said: str,
    caller: uuid.UUID | None,
    make: Callable[[], tuple[Secrets, uuid.UUID]],
) -> Secrets:
    """What a form makes; the same again if the same form comes again soon.

    Parameters
    ----------
    posted
        The form, with its ``press``; one without, which is not ours, is not looked for.
    said
        What was asked and typed: with other words it is another form.
    caller
        The keeper who is signed in.
    make
        Makes the secrets, and tells whose they are.

    Raises
    ------
    PreconditionFailedError
        The form was sent before, and what it made was shown then.
    """

    def write() -> Answer:
        secrets, owner = make()
        body = {**secrets, _MADE_AT: timezone.now().timestamp()}
        return Answer(200, json.dumps(body).encode(), owner=owner)

    press = posted.get(PRESS, "")
    if not MIN_SECRET_KEY_LENGTH <= len(press) <= MAX_KEY_LENGTH:
        return make()[0]
    words = hashlib.sha256("\0".join(said).encode()).digest()
    # No key that a program sends can hold the line break.
    answer = _in_turn(caller=caller, key=f"{press}\n{words.hex()}", fingerprint=words, write=write)
    body = json.loads(answer.body)
    if timezone.now().timestamp() - body.pop(_MADE_AT) > SHOWN_AGAIN_SECONDS:
        raise form_used()
    found: Secrets = body
    return found


def form_used() -> PreconditionFailedError:
    """The refusal of a form whose secrets were shown before."""
    return PreconditionFailedError(
        "This form was sent before, and what it made was shown then; it is not shown again, and "
        "nothing else was made. A form that is opened anew makes another."
    )


def _in_turn(
    *, caller: uuid.UUID | None, key: str, fingerprint: bytes, write: Callable[[], Answer]
) -> Answer:
    """Answer once; a second press waits for the first, whose answer the browser has given up."""
    for _try in range(_TRIES):
        try:
            return answer_once(caller=caller, key=key, fingerprint=fingerprint, write=write)
        except KeyInUseError:
            time.sleep(_PAUSE_SECONDS)
    return answer_once(caller=caller, key=key, fingerprint=fingerprint, write=write)
