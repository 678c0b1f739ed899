"""The words around gene names: het, super, possible, normal and their like."""

from __future__ import annotations

from collections.abc import Mapping
from enum import Enum, auto


class Modifier(Enum):
    """A word that says how the gene beside it is carried."""

    HET = auto()
    HETS = auto()
    FOR = auto()
    POSSIBLE = auto()
    POSSIBLE_HET = auto()
    DOUBLE = auto()
    TRIPLE = auto()
    DOUBLE_HET = auto()
    SUPER = auto()
    TWICE = auto()
    TIMES_TWO = auto()
    HOMOZYGOUS = auto()
    VISUAL = auto()
    WILD_TYPE = auto()


MODIFIERS: Mapping[tuple[str, ...], Modifier] = {
    ("het",): Modifier.HET,
    ("heterozygous",): Modifier.HET,
    ("hets",): Modifier.HETS,
    ("for",): Modifier.FOR,
    ("poss",): Modifier.POSSIBLE,
    ("pos",): Modifier.POSSIBLE,
    ("possible",): Modifier.POSSIBLE,
    ("ph",): Modifier.POSSIBLE_HET,
    ("double",): Modifier.DOUBLE,
    ("triple",): Modifier.TRIPLE,
    ("dh",): Modifier.DOUBLE_HET,
    ("super",): Modifier.SUPER,
    ("2x",): Modifier.TWICE,
    ("2", "x"): Modifier.TWICE,
    ("x2",): Modifier.TIMES_TWO,
    ("x", "2"): Modifier.TIMES_TWO,
    ("homozygous",): Modifier.HOMOZYGOUS,
    ("hom",): Modifier.HOMOZYGOUS,
    ("visual",): Modifier.VISUAL,
    ("normal",): Modifier.WILD_TYPE,
    ("wild", "type"): Modifier.WILD_TYPE,
    ("wildtype",): Modifier.WILD_TYPE,
}
"""Common practice of the trade, no source."""
