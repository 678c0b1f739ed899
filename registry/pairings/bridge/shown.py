"""What breeding has shown of a parent, set against what is stated of it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from genetics.errors import ContradictoryStatementError, listed
from genetics.model.belief import ParentStatement
from genetics.model.species import Species
from genetics.model.statement import StatedGenes, StatedLocus, stated_genes
from genetics.notation.writer import canonical_text
from registry.catalogue.bridge import LoadedSpecies, OtherNames, genes_read
from registry.pairings.bridge.stored import statement_from_json, statement_to_json


def statement_bred(
    loaded: LoadedSpecies,
    stored: Mapping[str, Any],
    gene: str,
    status: str,
    *,
    is_restored: bool = False,
) -> dict[str, Any] | None:
    """A stored parent statement with what breeding has shown of one gene.

    Parameters
    ----------
    is_restored
        The gene was disproved before and is proven now: it is stated even where it was not.

    Returns
    -------
    None if that changes nothing: a proven gene that was certain and not marked unproven, a
    disproved one that was not stated, or a gene that this version of the species does not have.
    """
    species = loaded.species
    if gene not in species.locus_of:
        return None
    statement = statement_from_json(species, stored)
    genes = _bred(species, statement.genes, gene, status, is_restored=is_restored)
    carried = set(genes.genes)
    changed = replace(
        statement,
        genes=genes,
        unproven=tuple(one for one in statement.unproven if one != gene),
        phases=tuple(one for one in statement.phases if carried.issuperset(one.genes)),
        on_chromosome=tuple(one for one in statement.on_chromosome if one[0] in carried),
        inherited_from=tuple(one for one in statement.inherited_from if one[0] in carried),
    )
    if changed == statement or (status == "proven" and gene not in carried):
        return None
    return statement_to_json(changed)


def text_bred(
    loaded: LoadedSpecies,
    text: str,
    gene: str,
    status: str,
    others: OtherNames,
    *,
    is_restored: bool = False,
) -> str:
    """Canonical genes of an animal with what breeding has shown of one of them."""
    stated = genes_read(loaded, text, others)
    bred = _bred(loaded.species, stated, gene, status, is_restored=is_restored)
    return canonical_text(loaded.species, bred)


def at_odds(
    loaded: LoadedSpecies, statement: ParentStatement, shown: Mapping[str, str]
) -> tuple[list[str], str | None]:
    """Where a statement differs from what breeding has shown, gene by gene.

    Parameters
    ----------
    shown
        Gene -> status; genes that this version of the species does not have are passed over.

    Returns
    -------
    The genes that differ, and the canonical genes that the animal would have to be stated with;
    None if the last of those genes has no room beside what is stated, so that nobody but the
    keeper can say which of that is wrong.
    """
    species, genes = loaded.species, statement.genes
    found: list[str] = []
    for gene, status in shown.items():
        if gene in species.locus_of:
            try:
                right = _bred(species, genes, gene, status, is_restored=True)
            except ContradictoryStatementError:
                return [*found, gene], None
            if right != genes:
                found.append(gene)
            genes = right
    return found, canonical_text(species, genes)


def _bred(
    species: Species, genes: StatedGenes, gene: str, status: str, *, is_restored: bool
) -> StatedGenes:
    """One gene made certain where it was possible, given back in one copy, or taken away.

    Raises
    ------
    ContradictoryStatementError
        A gene that is given back, and two others of its locus are stated.
    """
    key = species.locus_of[gene].key
    stated = genes.at(key)
    certain = tuple(one for one in stated.certain if one != gene)
    possible = tuple(item for item in stated.possible if item[0] != gene)
    is_given = gene in stated.alleles or is_restored
    if status == "proven" and gene in stated.certain:
        certain = stated.certain
    elif status == "proven" and is_given:
        certain = (gene, *_beside(key, gene, StatedLocus(certain=certain, possible=possible)))
    found = StatedLocus(certain=certain, possible=possible)
    return stated_genes(species, {**dict(genes.loci), key: found})


def _beside(key: str, gene: str, others: StatedLocus) -> tuple[str, ...]:
    """What is certain beside one copy of a gene: of what was stated in two copies, the other."""
    named = tuple(dict.fromkeys(others.alleles))
    if len(named) > 1:
        raise ContradictoryStatementError(
            f"An animal that carries {gene} has one other allele of the locus {key}, and "
            f"{listed(named, joiner='and')} are stated of it.",
            gene=gene,
            stated=list(named),
        )
    return tuple(dict.fromkeys(others.certain))
