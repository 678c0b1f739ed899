"""Between stored states of a clutch and the genetics: reading anew, what became of calls, twins."""

from __future__ import annotations

import hashlib
import json
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from math import exp, lgamma, log
from typing import TYPE_CHECKING, Any, Final

from genetics.cross.offspring import chance_law, mean_chance
from genetics.model.locus import WILD_LOOK
from registry.catalogue.bridge import LoadedSpecies, OtherNames
from registry.clutches.bridge.reports import ReadClutch, ReadGroup, clutch_read, readings_to_json
from registry.pairings.bridge.parents import parent_text
from registry.pairings.bridge.stored import statement_from_json, statement_to_json

if TYPE_CHECKING:
    from registry.clutches.models import Clutch

PRIOR_DUPLICATE: Final = 0.05
"""Chance that a report with an earlier one of the same parents' genes and season is its copy."""

SAME_EGGS: Final = 0.03
"""Chance that another clutch of such parents has as many eggs, infertile and died, and hatched."""

ONE_CALL_APART: Final = 0.15
"""How often two reports of one clutch call one hatchling differently, against not at all."""

NEIGHBOURS: Final = 10
"""Tallies that differ from one by one call, roughly: so many more clutches match by luck."""

# The four above are working values of this project, no source; a test plants duplicates in a
# simulated community and counts those found and those found wrongly.


def content_of(read: ReadClutch, eggs: Mapping[str, int | None] | None) -> dict[str, Any]:
    """A state of a clutch as a revision stores it."""
    counted = eggs or {}
    return {
        "eggs": {name: counted.get(name) for name in ("laid", "infertile", "died")},
        "sire": statement_to_json(read.sire),
        "dam": statement_to_json(read.dam),
        "hatchlings": [group_to_json(one) for one in read.groups],
    }


def group_to_json(group: ReadGroup) -> dict[str, Any]:
    """An entry of hatchlings as a revision stores it."""
    return {
        "call": group.call,
        "count": group.count,
        "sex": group.sex,
        "basis": group.basis,
        "readings": readings_to_json(group),
        "contradicts": group.contradicts_parents,
    }


def entries_of(groups: Iterable[Mapping[str, Any]]) -> list[dict[str, Any]]:
    """Stored entries of hatchlings as a body has them, by their canonical texts."""
    found = []
    for one in groups:
        first, *others = one["readings"]
        entry: dict[str, Any] = {"call": first["text"], "count": one["count"], "sex": one["sex"]}
        if others:
            entry["or"] = [other["text"] for other in others]
        if "weight" in first:
            entry["weights"] = [reading["weight"] for reading in one["readings"]]
        if one.get("basis"):
            entry["basis"] = one["basis"]
        found.append(entry)
    return found


def read_again(loaded: LoadedSpecies, content: Mapping[str, Any], others: OtherNames) -> ReadClutch:
    """A stored state read and held against its parents anew; what was written is kept as it was."""
    parents = (
        statement_from_json(loaded.species, content["sire"]),
        statement_from_json(loaded.species, content["dam"]),
    )
    entries = entries_of(content["hatchlings"])
    read = clutch_read(loaded, parents, entries, others, is_stored=True)
    written = [one["call"] for one in content["hatchlings"]]
    groups = tuple(
        ReadGroup(
            call=call,
            count=one.count,
            sex=one.sex,
            basis=one.basis,
            weights=one.weights,
            readings=one.readings,
            checked=one.checked,
        )
        for one, call in zip(read.groups, written, strict=True)
    )
    return ReadClutch(
        loaded=loaded, sire=read.sire, dam=read.dam, pairing=read.pairing, groups=groups
    )


def read_calls(
    loaded: LoadedSpecies,
    clutch: Clutch,
    entries: Sequence[Mapping[str, Any]],
    others: OtherNames,
) -> tuple[ReadGroup, ...]:
    """Calls of somebody else's entries of a stored clutch, read against its parents."""
    parents = (
        statement_from_json(loaded.species, clutch.sire_stated),
        statement_from_json(loaded.species, clutch.dam_stated),
    )
    return clutch_read(loaded, parents, entries, others).groups


def parents_of_content(loaded: LoadedSpecies, content: Mapping[str, Any]) -> dict[str, str]:
    """Canonical texts of sire and dam of a stored state."""
    return {
        role: parent_text(loaded, statement_from_json(loaded.species, content[role]))
        for role in ("sire", "dam")
    }


# --- what became of calls ---------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Change:
    """Hatchlings of one call and what they were called at the next look; it may be the same."""

    called: str
    became: str
    count: int


def changes_between(
    former: Sequence[Mapping[str, Any]],
    newer: Sequence[Mapping[str, Any]],
    was: Mapping[int, str],
) -> list[Change]:
    """What became of certain calls between two looks at one clutch, as far as it can be told.

    Parameters
    ----------
    former, newer
        Stored entries of the two states.
    was
        Place of a newer entry -> the canonical call that its hatchlings had before, where the
        keeper said so.

    Notes
    -----
    Hatchlings are no individuals here, only counts. What the keeper said comes first; then as many
    as possible kept their call. The rest is told apart only if all of it left one call, or joined
    one call; otherwise nothing is said of it. Uncertain calls say nothing either way.
    """
    left, joined = _certain(former), Counter[str]()
    flows: Counter[tuple[str, str]] = Counter()
    for place, entry in enumerate(newer):
        if len(entry["readings"]) > 1:
            continue
        became = entry["readings"][0]["text"]
        said = was.get(place)
        if said is not None and left[said] >= entry["count"]:
            flows[said, became] += entry["count"]
            left[said] -= entry["count"]
        else:
            joined[became] += entry["count"]
    for text in list(joined):
        stayed = min(left[text], joined[text])
        flows[text, text] += stayed
        left[text] -= stayed
        joined[text] -= stayed
    sources, sinks = +left, +joined
    if sources.total() == sinks.total() and 1 in {len(sources), len(sinks)}:
        for called, n_left in sources.items():
            for became, n_joined in sinks.items():
                flows[called, became] += min(n_left, n_joined)
    return [Change(*way, count) for way, count in sorted(flows.items()) if count]


def _certain(groups: Iterable[Mapping[str, Any]]) -> Counter[str]:
    found: Counter[str] = Counter()
    for one in groups:
        if len(one["readings"]) == 1:
            found[one["readings"][0]["text"]] += one["count"]
    return found


# --- two reports of one clutch ----------------------------------------------------------------


def twin_digest(read: ReadClutch, season: int | None) -> str:
    """Digest of what two reports of one clutch agree in whoever made them: season and parents."""
    said = [
        read.loaded.key,
        season,
        *(parent_text(read.loaded, one) for one in (read.sire, read.dam)),
    ]
    return hashlib.sha256(json.dumps(said).encode()).hexdigest()


def tally_of(groups: Iterable[Mapping[str, Any]]) -> Counter[str]:
    """Hatchlings by their call; of an uncertain one the first reading."""
    found: Counter[str] = Counter()
    for one in groups:
        found[one["readings"][0]["text"]] += one["count"]
    return found


def duplicate_chance(
    read: ReadClutch, other: Sequence[Mapping[str, Any]], *, n_twins: int, n_equal: int
) -> float:
    """Chance that two reports with the same parents' genes, season and egg counts are one clutch.

    Parameters
    ----------
    other
        Stored entries of the earlier report's hatchlings.
    n_twins
        Earlier reports with these parents' genes in this season; 1 or more.
    n_equal
        Those of them with the same eggs and calls. Two or more are different clutches that came
        out alike, so that one more of that kind is no sign of a copy.

    Returns
    -------
    0 if the calls differ in more than one hatchling.
    """
    own = tally_of([group_to_json(one) for one in read.groups])
    apart = (own - tally_of(other)).total()
    if own.total() != tally_of(other).total() or apart > 1:
        return 0.0
    prior = PRIOR_DUPLICATE * (ONE_CALL_APART if apart else 1.0)
    luck = n_twins * SAME_EGGS * _outcome_chance(read) * (NEIGHBOURS if apart else 1)
    return prior / (prior + max(luck, n_equal - 1.0))


def is_equal_tally(read: ReadClutch, other: Sequence[Mapping[str, Any]]) -> bool:
    """Whether two reports call the same numbers of hatchlings the same."""
    return tally_of([group_to_json(one) for one in read.groups]) == tally_of(other)


def _outcome_chance(read: ReadClutch) -> float:
    """Chance of just these calls in a clutch of this size, as in a multinomial law."""
    counts: Counter[tuple[tuple[str, str], ...]] = Counter()
    for group in read.groups:
        counts[tuple(sorted(group.readings[0].looks.items()))] += group.count
    keys = {key for group in read.pairing.groups_in_play() for key in group.loci}
    total = lgamma(sum(counts.values()) + 1)
    for looks, count in counts.items():
        shown = dict(looks)
        wanted = {
            key: read.loaded.species.by_key[key].states.get(shown.get(key, WILD_LOOK), frozenset())
            for key in keys
        }
        chance = float(mean_chance(chance_law(read.pairing, wanted))) if all(wanted.values()) else 0
        # A call that the parents can not give happens by a slip: rare, not impossible.
        total += count * log(max(chance, 0.01)) - lgamma(count + 1)
    return min(exp(total), 1.0)
