"""Settings of the tests: no files are written, nothing depends on the machine."""

from __future__ import annotations

from registry.settings.base import *  # noqa: F403 - the way Django's settings build on others

SECRET_KEY = "for tests only"  # noqa: S105 - protects nothing
BROODCOUNT_ERASURE_LEDGER = None
# Tests of the limits turn them on.
BROODCOUNT_RATE_LIMITS = False
ALLOWED_HOSTS = ["testserver", "localhost", "127.0.0.1"]

# Keepers of a test have just joined; the tests of the probation set it themselves.
BROODCOUNT_KEEPER_PROBATION_DAYS = 0
