"""The stored form of a parent statement."""

from __future__ import annotations

from collections.abc import Mapping
from fractions import Fraction
from typing import Any, cast

from genetics.model.belief import ParentStatement, Phase
from genetics.model.species import Sex, Species
from genetics.model.statement import StatedLocus, stated_genes
from registry.pairings.bridge.parents import Role


def statement_to_json(statement: ParentStatement) -> dict[str, Any]:
    """A parent statement as stored; empty parts are left out."""
    found: dict[str, Any] = {
        "sex": str(statement.sex),
        "loci": {
            key: {
                "certain": list(stated.certain),
                **(
                    {"possible": [[gene, str(chance)] for gene, chance in stated.possible]}
                    if stated.possible
                    else {}
                ),
            }
            for key, stated in statement.genes.loci
        },
    }
    if statement.unproven:
        found["unproven"] = list(statement.unproven)
    if statement.phases:
        found["phases"] = [[*phase.genes, phase.coupling] for phase in statement.phases]
    if statement.on_chromosome:
        found["on_chromosome"] = [list(item) for item in statement.on_chromosome]
    if statement.inherited_from:
        found["inherited_from"] = [list(item) for item in statement.inherited_from]
    return found


def statement_from_json(species: Species, stored: Mapping[str, Any]) -> ParentStatement:
    """A parent statement from its stored form, in the order of the species file."""
    return ParentStatement(
        genes=stated_genes(
            species,
            {
                key: StatedLocus(
                    certain=tuple(one["certain"]),
                    possible=tuple(
                        (gene, Fraction(chance)) for gene, chance in one.get("possible", ())
                    ),
                )
                for key, one in stored["loci"].items()
            },
        ),
        sex=Sex(stored["sex"]),
        unproven=tuple(stored.get("unproven", ())),
        phases=tuple(
            Phase(genes=(one, other), coupling=coupling)
            for one, other, coupling in stored.get("phases", ())
        ),
        on_chromosome=tuple((gene, letter) for gene, letter in stored.get("on_chromosome", ())),
        inherited_from=tuple(
            (gene, cast("Role", origin)) for gene, origin in stored.get("inherited_from", ())
        ),
    )
