"""``python -m registry``: the same as the console script ``broodcount``."""

from __future__ import annotations

import sys

from registry.server.cli import main

if __name__ == "__main__":
    sys.exit(main())
