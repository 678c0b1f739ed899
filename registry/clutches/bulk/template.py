"""The table that keepers download, fill in and send back. Its rows are of the invented species."""

from __future__ import annotations

import csv
import io
from typing import Final

from registry.clutches.bulk.columns import COLUMNS

FILE_NAME: Final = "clutches.csv"
_EXAMPLES: Final = (
    {
        "species": "marsh-lantern-gecko",
        "season": "2025",
        "sire": "pale reed het ashwater",
        "sire_animal": "m-07",
        "sire_unproven": "pale reed",
        "dam": "het ashwater het pale reed",
        "dam_animal": "f-12",
        "laid": "14",
        "infertile": "1",
        "died": "2",
        "hatchlings": "4 female pale reed; 5 normal; 1 ashwater pale reed or pale reed "
        "(first shed); 1 ashwater",
        "clutch_code": "shelf 3",
    },
    {
        "species": "marsh-lantern-gecko",
        "season": "2024",
        "sire": "tidemark",
        "sire_animal": "m-02",
        "dam": "tidemark, 66% het quillback",
        "dam_animal": "f-05",
        "laid": "6",
        "hatchlings": "2 tidemark\n1 tidemark x2\n2 male normal",
    },
    {
        "species": "marsh-lantern-gecko",
        "season": "2024",
        "sire": "normal",
        "dam": "ashwater",
        "laid": "5",
        "infertile": "3",
        "died": "2",
    },
)


def template_text() -> str:
    """Header and examples as CSV with commas and line ends of Windows, as RFC 4180 has it."""
    written = io.StringIO()
    writer = csv.DictWriter(written, COLUMNS, restval="", lineterminator="\r\n")
    writer.writeheader()
    writer.writerows(_EXAMPLES)
    return written.getvalue()
