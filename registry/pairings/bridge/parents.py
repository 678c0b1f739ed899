"""Parents as bodies state them, read with the notation."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from fractions import Fraction
from typing import Any, Literal

from genetics.cross.offspring import Pairing, chance_law, mean_chance
from genetics.errors import ContradictoryStatementError, listed
from genetics.model.belief import ParentStatement, Phase, belief_of
from genetics.model.locus import WILD
from genetics.model.species import Sex, Species
from genetics.model.statement import StatedGenes, StatedLocus, stated_genes
from genetics.notation.writer import canonical_text
from genetics.pool.target import informed_targets
from registry.catalogue.bridge import LoadedSpecies, OtherNames, genes_read
from registry.errors import gathered

Role = Literal["sire", "dam"]

ReadParent = ParentStatement
"""A parent as it was read; services pass it on and look at ``sex`` and ``unproven`` only."""

PEDIGREES: Mapping[str, tuple[str, str]] = {
    "het x het": ("het", "het"),
    "het x normal": ("het", "normal"),
    "visual x normal": ("visual", "normal"),
    "visual x het": ("visual", "het"),
}
"""Parents of a possible het -> what each of them carries."""


def parent_read(
    loaded: LoadedSpecies, role: Role, given: Mapping[str, Any], others: OtherNames
) -> ParentStatement:
    """A parent as a caller describes it: ``genes`` and what is known about them.

    Raises
    ------
    FieldsError
        Every refusal with its place in ``given``.
    """
    species = loaded.species
    sex = Sex.MALE if role == "sire" else Sex.FEMALE
    with gathered() as faults:
        genes = StatedGenes()
        with faults.at("genes"):
            genes = genes_read(loaded, given["genes"], others)
            genes = _with_pedigree(species, genes, given.get("pedigree", {}), others, loaded)
            genes = _with_proven(loaded, genes, given.get("proven", ()), others)
        statement = ParentStatement(genes=genes, sex=sex)
    with gathered() as faults:
        unproven: list[str] = []
        phases: list[Phase] = []
        placed: list[tuple[str, str]] = []
        origins: list[tuple[str, Role]] = []
        origin_texts: list[str] = []
        proven = {gene_named(loaded, text, others) for text in given.get("proven", ())}
        for number, text in enumerate(given.get("unproven", ())):
            with faults.at("unproven", number):
                unproven.append(gene_named(loaded, text, others))
                _refuse_proven(unproven[-1], proven)
        for number, item in enumerate(given.get("phase", ())):
            with faults.at("phase", number):
                one, other = (gene_named(loaded, text, others) for text in item["genes"])
                phases.append(Phase(genes=(one, other), coupling=item["is"] == "coupling"))
        for text, letter in given.get("on_chromosome", {}).items():
            with faults.at("on_chromosome", text):
                placed.append((gene_named(loaded, text, others), letter))
        for text, origin in given.get("inherited_from", {}).items():
            with faults.at("inherited_from", text):
                origins.append((gene_named(loaded, text, others), origin))
                origin_texts.append(text)
        for text, (gene, _origin) in zip(origin_texts, origins, strict=True):
            with faults.at("inherited_from", text):
                _refuse_origin_of_no_use(species, gene, origins)
    statement = ParentStatement(
        genes=genes,
        sex=sex,
        unproven=tuple(dict.fromkeys(unproven)),
        phases=tuple(phases),
        on_chromosome=tuple(placed),
        inherited_from=tuple(origins),
    )
    with gathered() as faults, faults.at("genes"):
        belief_of(species, statement)
    return statement


def _refuse_proven(gene: str, proven: Collection[str]) -> None:
    if gene in proven:
        raise ContradictoryStatementError(
            f"{gene} is said to be proven and unproven at once: leave one of the two out.",
            gene=gene,
        )


def _refuse_origin_of_no_use(
    species: Species, gene: str, origins: Sequence[tuple[str, Role]]
) -> None:
    """Refuse an origin that tells nothing of how genes lie.

    It tells the chromosome of a sex-linked gene, and the phase of linked ones. Of two genes that
    are independent in the catalogue it tells their phase if they turn out to be linked.
    """
    locus = species.locus_of[gene]
    group = species.group_of[locus.key]
    others = {species.locus_of[other].key for other, _origin in origins} - {locus.key}
    if not (group.is_sex_group or len(group.loci) > 1 or others):
        raise ContradictoryStatementError(
            f"Which parent {gene} came from says nothing: it is neither sex-linked nor linked to "
            "another gene in the catalogue, and no other gene's origin is given. Leave it out.",
            gene=gene,
        )


def gene_named(loaded: LoadedSpecies, text: str, others: OtherNames) -> str:
    """The one gene that a text names.

    Raises
    ------
    ContradictoryStatementError
        A text that names no gene or several; the notation's own errors for unknown words.
    """
    named = genes_read(loaded, text, others).genes
    if len(named) != 1:
        names = listed(named, joiner="and") or "no gene"
        raise ContradictoryStatementError(f"{text!r} names {names}; one gene is expected here.")
    return named[0]


def _with_pedigree(
    species: Species,
    genes: StatedGenes,
    pedigree: Mapping[str, str],
    others: OtherNames,
    loaded: LoadedSpecies,
) -> StatedGenes:
    """Possible hets with their chance from what their own parents carried."""
    chances = {
        gene_named(loaded, text, others): _pedigree_chance(species, text, kind, others, loaded)
        for text, kind in pedigree.items()
    }
    unused = set(chances) - {
        gene for _key, stated in genes.loci for gene, chance in stated.possible if chance is None
    }
    if unused:
        raise ContradictoryStatementError(
            f"A pedigree is given for {listed(sorted(unused), joiner='and')}, which is not stated "
            "as a possible het without a number.",
            genes=sorted(unused),
        )
    return stated_genes(
        species,
        {
            key: StatedLocus(
                certain=stated.certain,
                possible=tuple(
                    (gene, chances.get(gene) if chance is None else chance)
                    for gene, chance in stated.possible
                ),
            )
            for key, stated in genes.loci
        },
    )


def _pedigree_chance(
    species: Species, text: str, kind: str, others: OtherNames, loaded: LoadedSpecies
) -> Fraction:
    """Chance that a normal-looking animal of such parents is het, by the cross itself."""
    gene = gene_named(loaded, text, others)
    locus = species.locus_of[gene]
    copies = {"visual": (gene, gene), "het": (gene,), "normal": ()}
    sire, dam = (
        belief_of(
            species,
            ParentStatement(
                genes=stated_genes(species, {locus.key: StatedLocus(certain=copies[form])}),
                sex=sex,
            ),
        )
        for form, sex in zip(PEDIGREES[kind], (Sex.MALE, Sex.FEMALE), strict=True)
    )
    pairing = Pairing(species, sire, dam)
    normal = mean_chance(chance_law(pairing, {locus.key: locus.states[""]}))
    het = mean_chance(chance_law(pairing, {locus.key: frozenset({(gene, WILD)})}))
    if not normal or het == normal:
        raise ContradictoryStatementError(
            f"Every normal-looking animal from {kind} is het {gene}: write 'het {gene}'.",
            gene=gene,
        )
    return het / normal


def _with_proven(
    loaded: LoadedSpecies, genes: StatedGenes, proven: Sequence[str], others: OtherNames
) -> StatedGenes:
    """Possible hets that breeding has proven become certain."""
    shown = {gene_named(loaded, text, others) for text in proven}
    unknown = sorted(shown - set(genes.genes))
    if unknown:
        raise ContradictoryStatementError(
            f"{listed(unknown, joiner='and')} is said to be proven, but is not among the genes "
            "stated of this animal.",
            genes=unknown,
        )
    return stated_genes(
        loaded.species,
        {
            key: StatedLocus(
                certain=(*stated.certain, *(g for g, _c in stated.possible if g in shown)),
                possible=tuple(item for item in stated.possible if item[0] not in shown),
            )
            for key, stated in genes.loci
        },
    )


def parent_text(loaded: LoadedSpecies, statement: ParentStatement) -> str:
    """A parent's genes in canonical text."""
    return canonical_text(loaded.species, statement.genes)


def pairing_of(loaded: LoadedSpecies, sire: ParentStatement, dam: ParentStatement) -> Pairing:
    """The two parents as stated, for the genetics."""
    return Pairing(loaded.species, belief_of(loaded.species, sire), belief_of(loaded.species, dam))


def informed_keys(loaded: LoadedSpecies, sire: ParentStatement, dam: ParentStatement) -> list[str]:
    """Keys of the combinations that clutches of a pairing inform, in order."""
    return sorted(one.key for one in informed_targets(pairing_of(loaded, sire, dam)))
