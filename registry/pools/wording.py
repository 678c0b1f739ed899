"""The six explanations in a keeper's words."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any


def explanation_sentence(one: Mapping[str, Any], combination: str) -> str:
    """One explanation in plain words."""
    name = one["name"]
    if name == "as-catalogued":
        return "The genetics are as catalogued, and what is missing is luck."
    if name == "parent-not-carrying":
        return "Some parents do not carry what their labels say."
    if name == "look-alike":
        called = one.get("called_as") or "none of them"
        return f"It hatches and is called something else: {called}."
    if name == "linked-in-repulsion":
        share = f"{100 * one.get('recombination_fraction', 0):.0f} %"
        return (
            "The genes sit on one chromosome, one on each of a pair, and come together only by "
            f"crossing over (about {share} of the time)."
        )
    if name == "gene-shortage":
        return f"{one.get('gene') or 'A gene'} falls short by itself, whatever its partner."
    return f"{combination} dies in the egg or is lost before hatching."
