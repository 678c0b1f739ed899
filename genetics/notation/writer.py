"""An animal's genes, or a look -> the one canonical text."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from fractions import Fraction
from typing import TypeVar

from genetics.errors import GeneticsError, SpeciesFaultError
from genetics.model.locus import ABSENT, WILD, Locus, Mode
from genetics.model.species import Species
from genetics.model.statement import COPIES, StatedGenes, StatedLocus
from genetics.notation.looks import LocusLook, ReadLook
from genetics.notation.readings import genes_readings, look_readings
from genetics.notation.text import chance_wording

NORMAL = "Normal"

SUPER_FORMS = ("Super {}", "{} x2")
"""The second one is for a species with a gene that has the words of the first for its name."""

Read = TypeVar("Read")


def canonical_text(species: Species, genes: StatedGenes) -> str:
    """The canonical text of an animal's genes, which ``read_genes`` reads back to them.

    Genes that show come first, in the order of the species file, then certain hets, then
    possible ones: ``Pastel Clown het Piebald 66% het Albino``; ``Normal`` if there is nothing.
    Commas stand between the items where blanks would be read in another way. One copy with none
    on the other sex chromosome is written as it shows. The text can be longer than what
    ``read_genes`` takes (beyond some thirty genes); nothing else keeps it from being read back.

    Raises
    ------
    HetOfVisibleGeneError
        A possible allele that shows in one copy.
    SpeciesFaultError
        Names that can not be told apart even so.
    """
    plain = StatedGenes(
        loci=tuple(
            (key, replaced)
            for key, stated in genes.loci
            if (replaced := _without_absent(species.by_key[key], stated)).alleles
        )
    )
    hets = [*_het_items(species, plain), *_possible_items(plain)]
    return _first_readable(
        [[*_shown_items(species, plain, super_form), *hets] for super_form in SUPER_FORMS],
        read=lambda text: genes_readings(species, text, {}),
        wanted=plain,
    )


def canonical_look(species: Species, look: ReadLook) -> str:
    """The canonical text of a look, which ``read_look`` reads back to it.

    Wordings of the visible states in the order of the species file, then hets. A state whose
    wording means something else besides is written by its genes.
    """
    hets = [
        f"het {gene}" for _key, stated in look.hets.loci for gene in stated.certain
    ] + _possible_items(look.hets)
    return _first_readable(
        [
            [*(one.wording for one in look.looks), *hets],
            *(
                [
                    *(
                        item
                        for one in look.looks
                        for item in _by_genes(species.by_key[one.locus], one, super_form)
                    ),
                    *hets,
                ]
                for super_form in SUPER_FORMS
            ),
        ],
        read=lambda text: look_readings(species, text, {}),
        wanted=look,
    )


def _without_absent(locus: Locus, stated: StatedLocus) -> StatedLocus:
    """The statement as ``read_genes`` would make it, without the missing copy."""
    if ABSENT not in stated.certain:
        return stated
    present = tuple(gene for gene in stated.certain if gene not in {ABSENT, WILD})
    if present and not locus.by_name[present[0]].shows_in_one_copy:
        present *= COPIES
    return StatedLocus(certain=present, possible=stated.possible)


def _shown_items(species: Species, genes: StatedGenes, super_form: str) -> list[str]:
    """Genes that show: a recessive in two copies, two genes of a series, all others."""
    items: list[str] = []
    for key, stated in genes.loci:
        locus, certain = species.by_key[key], stated.certain
        shows = [locus.by_name[gene].shows_in_one_copy for gene in certain]
        if len(set(certain)) == COPIES or (len(certain) == 1 and shows[0]):
            items.extend(certain)
        elif len(certain) == COPIES:
            items.append(super_form.format(certain[0]) if shows[0] else certain[0])
    return items


def _het_items(species: Species, genes: StatedGenes) -> list[str]:
    return [
        f"het {stated.certain[0]}"
        for key, stated in genes.loci
        if len(stated.certain) == 1
        and not species.by_key[key].by_name[stated.certain[0]].shows_in_one_copy
    ]


def _possible_items(genes: StatedGenes) -> list[str]:
    return [
        f"{_chance_words(chance)} het {gene}"
        for _key, stated in genes.loci
        for gene, chance in stated.possible
    ]


def _chance_words(chance: Fraction | None) -> str:
    return "possible" if chance is None else chance_wording(chance)


def _by_genes(locus: Locus, look: LocusLook, super_form: str) -> list[str]:
    """A look by its genes, where it is one genotype of two genes; else its wording."""
    (one, other), *rest = sorted(look.pairs)
    is_visual = one == other and locus.by_name[one].mode is Mode.RECESSIVE
    if rest or is_visual or {WILD, ABSENT} & {one, other}:
        return [look.wording]
    return [super_form.format(one)] if one == other else [one, other]


def _first_readable(
    wordings: Sequence[Sequence[str]], *, read: Callable[[str], tuple[Read, ...]], wanted: Read
) -> str:
    """The first of the texts that is read back as what is wanted."""
    mistake: GeneticsError | None = None
    for items in wordings:
        for separator in (" ", ", "):
            text = separator.join(items) or NORMAL
            try:
                if read(text) == (wanted,):
                    return text
            except GeneticsError as refused:
                mistake = refused
    raise mistake or SpeciesFaultError(
        f"The names in {', '.join(wordings[0])} can not be told apart in this species."
    )
