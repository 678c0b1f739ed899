"""Child processes that do not outlive their parent, even one killed with -9."""

from __future__ import annotations

import ctypes
import os
import signal
import sys
from collections.abc import Callable
from typing import Final

GRACE_SECONDS: Final = 30
"""Requests in progress get this long when the service is told to stop."""

_PR_SET_PDEATHSIG: Final = 1


def die_with_parent(sent: signal.Signals) -> Callable[[], None] | None:
    """What a new child runs before its program: have ``sent`` delivered when the parent ends.

    Linux only; elsewhere None, and the next start deals with what was left over. The kernel means
    the *thread* that started the child, so call `subprocess.Popen` in the main one.
    """
    if not sys.platform.startswith("linux"):
        return None
    parent = os.getpid()
    prctl = ctypes.CDLL(None, use_errno=True).prctl

    def prepare() -> None:
        prctl(_PR_SET_PDEATHSIG, int(sent), 0, 0, 0)
        if os.getppid() != parent:
            # The parent ended before the request was made.
            os.kill(os.getpid(), signal.SIGKILL)

    return prepare
