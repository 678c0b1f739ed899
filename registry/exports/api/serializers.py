"""Shape of the descriptor, as the interface description tells it."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any, Final

_FILE: Final = Path(__file__).parents[1] / "format" / "datapackage.schema.json"


def descriptor_schema() -> dict[str, Any]:
    """The schema of the descriptor without the members that only a file of its own has."""
    schema: dict[str, Any] = json.loads(_FILE.read_text("utf-8"))
    return {
        name: part for name, part in schema.items() if name not in {"$schema", "$id", "$comment"}
    }
