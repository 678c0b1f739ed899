"""What moderators see of a clutch: genes and counts, no labels, codes and notes."""

from __future__ import annotations

from typing import Any

from registry.clutches.models import Clutch
from registry.clutches.selectors import clutch_answer
from registry.keepers.models import Hold


def clutch_seen(clutch: Clutch) -> str:
    """Season, parents, eggs and how many hatchlings were called what, in one line.

    Calls are told as they were read: a keeper's own text could hold anything.
    """
    answer = clutch_answer(clutch)
    eggs = ", ".join(f"{n} {name}" for name, n in answer["eggs"].items() if n is not None)
    called = ", ".join(map(_group_seen, answer["hatchlings"])) or "none hatched"
    return (
        f"{answer['season']}: {answer['sire']['genes']} x {answer['dam']['genes']}; "
        f"eggs: {eggs or 'not told'}; {called}"
    )


def _group_seen(group: dict[str, Any]) -> str:
    readings = " or ".join([group["reading"], *(one["reading"] for one in group["or"])])
    doubt = " (its parents can not give it)" if group["contradicts_parents"] else ""
    return f"{group['count']} {readings}{doubt}"


def hold_seen(hold: Hold) -> str:
    """A hold in one line."""
    until = hold.released_on.isoformat() if hold.released_on else "now"
    return f"{hold.since.isoformat()} to {until}: {hold.reason}"
