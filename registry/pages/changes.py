"""What changed between two states of a clutch, in words."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from typing import Any, Final

_EGGS: Final = {"laid": "Eggs laid", "infertile": "Never developed", "died": "Developed and died"}


def changes_told(before: Mapping[str, Any], now: Mapping[str, Any]) -> list[str]:
    """A sentence per count, call or parent that is not as it was; none if all is.

    Parameters
    ----------
    before, now
        States as the interface shows them: a clutch, or one of its revisions.
    """
    return [
        *_counts(before["hatchlings"], now["hatchlings"]),
        *_bases(before["hatchlings"], now["hatchlings"]),
        *_eggs(before["eggs"], now["eggs"]),
        *_parents(before, now),
        *_possible(before["hatchlings"], now["hatchlings"]),
    ]


def look_named(group: Mapping[str, Any]) -> str:
    """What hatchlings are called, with every other reading and the sex."""
    readings = (group["reading"], *(one["reading"] for one in group["or"]))
    sex = "" if group["sex"] == "unknown" else f", {group['sex']}"
    return f"{' or '.join(readings)}{sex}"


def _counts(before: Sequence[Any], now: Sequence[Any]) -> Iterator[str]:
    were, are = _tally(before), _tally(now)
    for look in {**were, **are}:
        if were[look] != are[look]:
            yield f"{look}: {were[look] or 'none'} before, {are[look] or 'none'} now."


def _tally(groups: Sequence[Any]) -> Counter[str]:
    found: Counter[str] = Counter()
    for one in groups:
        found[look_named(one)] += one["count"]
    return found


def _bases(before: Sequence[Any], now: Sequence[Any]) -> Iterator[str]:
    were, are = _said(before), _said(now)
    for look in were.keys() & are.keys():
        if were[look] != are[look]:
            rests_on = ", ".join(sorted(are[look]))
            yield (
                f"{look}: rests on {rests_on} now."
                if rests_on
                else f"{look}: what it rests on is no longer said."
            )


def _said(groups: Sequence[Any]) -> dict[str, set[str]]:
    found: dict[str, set[str]] = {}
    for one in groups:
        bases = found.setdefault(look_named(one), set())
        if one["basis"]:
            bases.add(one["basis"])
    return found


def _eggs(before: Mapping[str, int | None], now: Mapping[str, int | None]) -> Iterator[str]:
    for name, words in _EGGS.items():
        if before[name] != now[name]:
            yield f"{words}: {_counted(before[name])} before, {_counted(now[name])} now."


def _counted(n: int | None) -> str:
    return "not counted" if n is None else str(n)


def _parents(before: Mapping[str, Any], now: Mapping[str, Any]) -> Iterator[str]:
    for role in ("sire", "dam"):
        was, is_now = _genes(before[role]), _genes(now[role])
        if was != is_now:
            yield f"{role.capitalize()}: {was} before, {is_now} now."


def _genes(parent: Any) -> str:
    """Genes of a parent, which a revision has as a text and a clutch as an object."""
    return str(parent["genes"] if isinstance(parent, Mapping) else parent)


def _possible(before: Sequence[Any], now: Sequence[Any]) -> Iterator[str]:
    """Calls that stayed, and that the parents could not give before and can now, or the reverse."""
    were = {look_named(one): one["contradicts_parents"] for one in before}
    are = {look_named(one): one["contradicts_parents"] for one in now}
    for look, contradicts in are.items():
        if were.get(look, contradicts) != contradicts:
            yield f"{look}: {'not possible' if contradicts else 'possible'} from these parents now."
