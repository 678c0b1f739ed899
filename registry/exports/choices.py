"""Names, columns and licence of the open data."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any, Final

LICENCE: Final = {
    "name": "CC0-1.0",
    "title": "CC0 1.0 Universal",
    "path": "https://creativecommons.org/publicdomain/zero/1.0/",
}
"""Counts are facts, and nobody is to be named for them."""

FORMAT_VERSION: Final = "1.0.0"
"""Of the columns: the first number changes when a column is taken away or changes its meaning."""

MERGED: Final = "merged"
"""In the place of a configuration: those of one or two keepers, put together."""

SEVERAL: Final = "several"
"""In the place of a catalogue version, where the merged clutches may have more than one."""


@dataclass(frozen=True, slots=True)
class Column:
    """A column of the pooled counts, as Table Schema has it."""

    name: str
    type: str
    description: str
    constraints: dict[str, Any] = field(default_factory=dict)


_FEW: Final = "Empty if fewer than three keepers reported the combination."
_COUNT: Final = {"minimum": 0}

COLUMNS: Final = (
    Column("species", "string", "Key of the species.", {"required": True}),
    Column(
        "target",
        "string",
        "The combination by locus, unique within the species.",
        {"required": True},
    ),
    Column(
        "combination",
        "string",
        "The combination in canonical text, which the calls of the interface read.",
        {"required": True},
    ),
    Column(
        "n_factors",
        "integer",
        "Genes of the combination; two of one allelic series count as two.",
        {"required": True, "minimum": 1, "maximum": 3},
    ),
    Column(
        "configuration",
        "string",
        "Sire and dam as stated, at the loci of the combination; 'merged' for all configurations "
        "that too few keepers reported.",
        {"required": True},
    ),
    Column(
        "catalogue",
        "string",
        "Version of the species file under which it was reported; 'several' where merged clutches "
        "have more than one, or where few keepers reported.",
        {"required": True},
    ),
    Column("sire", "string", "What is stated of the sire; empty if merged."),
    Column("dam", "string", "What is stated of the dam; empty if merged."),
    Column(
        "families",
        "integer",
        "Groups of clutches that hang together by shared animals. One with several configurations "
        f"counts in each of them. {_FEW}",
        {"minimum": 1},
    ),
    Column("clutches", "integer", "Clutches.", {"required": True, "minimum": 1}),
    Column("declared_clutches", "integer", f"Declared before hatching. {_FEW}", _COUNT),
    Column(
        "clutches_with_hit",
        "integer",
        "Clutches with a hatchling that certainly shows the combination.",
        {"required": True, "minimum": 0},
    ),
    Column(
        "keepers",
        "integer",
        f"Keepers, at least three. {_FEW} One with several configurations counts in each of them.",
        {"minimum": 3},
    ),
    Column(
        "hatchlings",
        "integer",
        "Hatchlings of these clutches.",
        {"required": True, "minimum": 1},
    ),
    Column(
        "hits",
        "integer",
        "Hatchlings that certainly show the combination.",
        {"required": True, "minimum": 0},
    ),
    Column(
        "hits_possible",
        "integer",
        "Hatchlings that show it or, called with doubt, may show it.",
        {"required": True, "minimum": 0},
    ),
    Column("eggs_died", "integer", f"Eggs that died, where they were counted. {_FEW}", _COUNT),
    Column(
        "clutches_eggs_counted",
        "integer",
        f"Clutches whose dead eggs were counted. {_FEW}",
        _COUNT,
    ),
    Column(
        "cells",
        "object",
        "Hatchlings by what they show of the combination, in words; 'or' joins what a doubtful "
        f"call leaves open, and the sex is named where the genes are sex-linked. {_FEW}",
    ),
)

PRIMARY_KEY: Final = ("species", "target", "configuration", "catalogue")
