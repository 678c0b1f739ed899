"""Hatchlings that are stored, as a keeper would type them."""

from __future__ import annotations

from collections import defaultdict, deque
from collections.abc import Callable, Mapping, Sequence
from typing import Any

from registry.catalogue.selectors import bracketed_names
from registry.clutches.bulk.hatchlings import hatchlings_read


def hatchlings_typed(species: str, groups: Sequence[Mapping[str, Any]]) -> str:
    """One look a line; reading it again gives the same calls.

    Where a call was written in a way that the lines can't have, its canonical text stands for it.
    """
    is_name = _names_of(species)
    return "\n".join(_line(one, is_name) for one in groups)


def entries_kept(
    species: str, groups: Sequence[Mapping[str, Any]], entries: Sequence[Mapping[str, Any]]
) -> dict[int, int]:
    """Place of a typed entry -> place of the stored group whose line it still is.

    A line can't say all that is stored of a group: not the keeper's own odds of its readings, and
    not every basis. Whoever leaves a line alone wants that kept.
    """
    is_name = _names_of(species)
    places: dict[tuple[Any, ...], deque[int]] = defaultdict(deque)
    for place, group in enumerate(groups):
        read = hatchlings_read(_line(group, is_name), is_name)
        if len(read.entries) == 1:
            places[_key(read.entries[0])].append(place)
    return {
        place: places[_key(one)].popleft() for place, one in enumerate(entries) if places[_key(one)]
    }


def _key(entry: Mapping[str, Any]) -> tuple[Any, ...]:
    return (
        entry["call"],
        entry["count"],
        entry.get("sex", "unknown"),
        tuple(entry.get("or", ())),
        entry.get("basis") or "",
    )


def _names_of(species: str) -> Callable[[str], bool]:
    names = bracketed_names(species)

    def is_name(words: str) -> bool:
        return words.strip().casefold() in names

    return is_name


def _line(group: Mapping[str, Any], is_name: Callable[[str], bool]) -> str:
    others = [one["reading"] for one in group["or"]]
    for call in (group["call"], group["reading"]):
        for basis in (group["basis"], None):
            line = _written(group, call, others, basis)
            if _reads_back(line, group["count"], call, others, is_name):
                return line
    return _written(group, group["reading"], others, None)


def _written(group: Mapping[str, Any], call: str, others: Sequence[str], basis: str | None) -> str:
    sex = "" if group["sex"] == "unknown" else f"{group['sex']} "
    said = " or ".join((call, *others))
    return f"{group['count']} {sex}{said}{f' ({basis})' if basis else ''}"


def _reads_back(
    line: str, count: int, call: str, others: Sequence[str], is_name: Callable[[str], bool]
) -> bool:
    read = hatchlings_read(line, is_name)
    if read.refusals or len(read.entries) != 1:
        return False
    entry = read.entries[0]
    return bool(
        entry["count"] == count
        and entry["call"] == " ".join(call.split())
        and entry.get("or", []) == list(others)
    )
