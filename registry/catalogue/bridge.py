"""Between catalogue files and the genetics: a species from its file, text into genes and looks."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property
from typing import Any

from genetics.cross.offspring import Pairing, Wanted, chance_law, mean_chance
from genetics.errors import NotVisibleError
from genetics.model.linkage import Linkage
from genetics.model.locus import Allele, AllelePair, Compound, Locus, Mode, SexLinkage
from genetics.model.species import Nickname, SexSystem, Species
from genetics.model.statement import StatedGenes
from genetics.notation.names import names_of
from genetics.notation.reader import ReadLook, read_genes, read_look
from genetics.notation.writer import canonical_text
from genetics.pool.target import Target, factor_for, target_of

_BRACKETS = re.compile(r"\(([^()]*)\)")

CARE = (
    "If animals suffer or die, ask a veterinarian with experience of reptiles, and look up the law "
    "where you live on permits, protected species and breeding that harms."
)
"""What goes with every caution."""

NO_TRIALS = f"A shortage is no reason to repeat a pairing in order to find out. {CARE}"
"""What goes with every combination that is flagged or on watch."""


@dataclass(frozen=True, eq=False)
class LoadedSpecies:
    """A species under one catalogue version, ready for the genetics.

    ``version_id`` is the row, ``label`` how answers name it, ``others`` the names of other species
    that the catalogue knows, for clearer errors: normalised gene name -> species names.
    """

    key: str
    version_id: int
    label: str
    species: Species
    content: Mapping[str, Any]

    @cached_property
    def cautions(self) -> tuple[Caution, ...]:
        return tuple(_cautions(self.content))

    @cached_property
    def bracketed_names(self) -> frozenset[str]:
        """What stands in round brackets in a name, such as the line of a gene; without case."""
        return frozenset(
            words.strip().casefold()
            for name in _names_as_written(self.species)
            for words in _BRACKETS.findall(name)
        )


@dataclass(frozen=True, slots=True)
class Caution:
    """A known concern: ``alleles`` an animal must carry for it, each with its number of copies."""

    alleles: tuple[tuple[str, int], ...]
    text: str
    source: str

    @property
    def about(self) -> str:
        """The genes it is about, as words."""
        return caution_about(self.alleles)


def names_written(loaded: LoadedSpecies) -> tuple[str, ...]:
    """Every name of a gene, look or combination that is read, as it is written; sorted."""
    found = {name.wording for name in names_of(loaded.species).by_words.values()}
    return tuple(sorted(found, key=lambda name: (name.casefold(), name)))


def _names_as_written(species: Species) -> Iterator[str]:
    for locus in species.loci:
        yield from (one.look for one in locus.compounds if one.look)
        for allele in locus.alleles:
            yield from (allele.name, *allele.aliases, *allele.super_names)
    yield from (one.name for one in species.nicknames)


def caution_about(alleles: Iterable[tuple[str, int]]) -> str:
    """Genes with their number of copies, as words."""
    return " + ".join(f"two copies of {gene}" if n > 1 else gene for gene, n in alleles)


def species_from_content(content: Mapping[str, Any]) -> Species:
    """The genetics of a species file that has passed its check.

    Raises
    ------
    SpeciesFaultError
        Loci, linkage or nicknames that do not fit together.
    """
    head = content["species"]
    return Species(
        key=head["key"],
        name=head["common_name"],
        sex_system=SexSystem(head["sex_determination"]),
        loci=tuple(_locus(one) for one in content["loci"]),
        linkages=tuple(
            Linkage(
                loci=(one["loci"][0], one["loci"][1]),
                recombination_fraction=Fraction(one["recombination_fraction"]),
            )
            for one in content.get("linkage", ())
        ),
        nicknames=tuple(
            Nickname(name=one["name"], genes=tuple(one["genes"]))
            for one in content.get("nicknames", ())
        ),
    )


def _locus(content: Mapping[str, Any]) -> Locus:
    linkage = content.get("sex_linkage")
    return Locus(
        key=content["key"],
        alleles=tuple(
            Allele(
                name=one["gene"],
                mode=Mode(one["mode"]),
                aliases=tuple(one.get("aliases", ())),
                super_names=tuple(one.get("super_names", ())),
            )
            for one in content["alleles"]
        ),
        compounds=tuple(
            Compound(alleles=(one["genes"][0], one["genes"][1]), look=one["look"])
            for one in content.get("compounds", ())
        ),
        sex_linkage=linkage
        and SexLinkage(
            recombination_fraction=Fraction(linkage["recombination_fraction"]),
            heterogametic_copy=linkage["heterogametic_copy"],
        ),
    )


def _cautions(content: Mapping[str, Any]) -> Iterable[Caution]:
    for locus in content["loci"]:
        for allele in locus["alleles"]:
            for one in allele.get("cautions", ()):
                yield Caution(
                    alleles=((allele["gene"], one.get("copies", 1)),),
                    text=one["text"],
                    source=one["source"],
                )
            if allele.get("two_copies") in {"lethal", "suspected-lethal"}:
                held = "held" if allele["two_copies"] == "lethal" else "suspected"
                yield Caution(
                    alleles=((allele["gene"], 2),),
                    text=f"Animals with two copies of {allele['gene']} are {held} not to live.",
                    source=allele["source"],
                )
    for one in content.get("cautions", ()):
        counts = {gene: one["genes"].count(gene) for gene in one["genes"]}
        yield Caution(alleles=tuple(counts.items()), text=one["text"], source=one["source"])


def genes_read(loaded: LoadedSpecies, text: str, others: OtherNames) -> StatedGenes:
    """What a parent's text states. Raises the genetics' own errors."""
    return read_genes(loaded.species, text, other_species=others)


def look_read(loaded: LoadedSpecies, text: str, others: OtherNames) -> ReadLook:
    """What a hatchling's call, or a combination asked for, says is seen."""
    return read_look(loaded.species, text, other_species=others)


class OtherNames(Mapping[str, tuple[str, ...]]):
    """Normalised name of a gene -> common names of the other species that have it.

    Gathered on first use: only the error about an unknown word needs it.
    """

    def __init__(self, load: Callable[[], Mapping[str, tuple[str, ...]]]) -> None:
        self._load = load

    @cached_property
    def _names(self) -> Mapping[str, tuple[str, ...]]:
        return self._load()

    def __bool__(self) -> bool:
        """True without looking: a look would gather the names."""
        return True

    def __getitem__(self, name: str) -> tuple[str, ...]:
        return self._names[name]

    def __iter__(self) -> Iterator[str]:
        return iter(self._names)

    def __len__(self) -> int:
        return len(self._names)


def other_names(loaded: Iterable[LoadedSpecies]) -> Mapping[str, tuple[str, ...]]:
    """Every name that one of these species knows -> the species that know it."""
    found: dict[str, tuple[str, ...]] = {}
    for one in loaded:
        for name in names_of(one.species).known_names:
            found[name] = (*found.get(name, ()), one.species.name)
    return found


# --- combinations and cautions ----------------------------------------------------------------


def target_read(loaded: LoadedSpecies, text: str, others: OtherNames) -> Target:
    """The target that a text asks for.

    Raises
    ------
    NotVisibleError
        A text with hets, or with nothing that shows.
    TooManyFactorsError, ContradictoryStatementError
        See ``target_of``; and the notation's own errors.
    """
    look = look_read(loaded, text, others)
    if look.hets.genes:
        gene = look.hets.genes[0]
        raise NotVisibleError(
            f"A combination is what shows, and a het {gene} does not show. Ask for "
            f"{gene!r}, the visual, or leave it out.",
            gene=gene,
        )
    factors = [factor_for(loaded.species.by_key[one.locus], one.pairs) for one in look.looks]
    return target_of(loaded.species, factors)


def trade_names(loaded: LoadedSpecies, target: Target) -> list[str]:
    """Trade names of a combination, where it is one genotype per locus up to a dominant copy."""
    pairs = {}
    for factor in target.factors:
        locus = loaded.species.by_key[factor.locus]
        pairs[factor.locus] = locus.ordered(factor.pairs)[-1]
    return list(names_of(loaded.species).nicknames_for(pairs))


def _carrying(loaded: LoadedSpecies, caution: Caution) -> dict[str, frozenset[AllelePair]]:
    """Locus -> genotypes there that a caution is about."""
    found: dict[str, frozenset[AllelePair]] = {}
    for gene, copies in caution.alleles:
        locus = loaded.species.locus_of[gene]
        every = frozenset((*locus.pairs, *locus.single_copies))
        having = frozenset(pair for pair in every if pair.count(gene) >= copies)
        found[locus.key] = found.get(locus.key, every) & having
    return found


def cautions_of_pairing(loaded: LoadedSpecies, pairing: Pairing) -> list[tuple[Caution, Fraction]]:
    """Cautions that a hatchling of the pairing can fall under, with the chance of one hatchling.

    A hidden copy counts as well: the concern is about what an animal carries.
    """
    found = []
    for caution in loaded.cautions:
        chance = mean_chance(chance_law(pairing, _carrying(loaded, caution)))
        if chance:
            found.append((caution, chance))
    return found


def cautions_of_target(loaded: LoadedSpecies, target: Target) -> list[Caution]:
    """Cautions that an animal of a combination falls, or may fall, under."""
    return cautions_of_wanted(loaded, target.wanted)


def cautions_of_wanted(loaded: LoadedSpecies, wanted: Wanted) -> list[Caution]:
    """Cautions that an animal of these genotypes falls, or may fall, under."""
    return [
        caution
        for caution in loaded.cautions
        if all(
            wanted.get(key, frozenset()) & pairs
            for key, pairs in _carrying(loaded, caution).items()
        )
    ]


@dataclass(frozen=True, slots=True)
class ReadGene:
    """A gene as it was read: ``copies`` 1 or 2; ``chance`` None for a number not given."""

    gene: str
    locus: str
    copies: int
    chance: Fraction | None
    shows: bool


def genes_described(loaded: LoadedSpecies, text: str, others: OtherNames) -> ReadText:
    """A text with every gene that it states."""
    stated = genes_read(loaded, text, others)
    pairs = stated.genotype_pairs(loaded.species)
    found = []
    for key, here in stated.loci:
        locus = loaded.species.by_key[key]
        shows = bool(locus.look(pairs[key]))
        found += [
            ReadGene(gene, key, here.certain.count(gene), Fraction(1), shows)
            for gene in dict.fromkeys(here.certain)
        ]
        found += [ReadGene(gene, key, 1, chance, shows=False) for gene, chance in here.possible]
    return ReadText(
        genes=tuple(found),
        canonical=canonical_text(loaded.species, stated),
        names=names_of(loaded.species).nicknames_for(pairs) if stated.is_certain else (),
    )


@dataclass(frozen=True, slots=True)
class ReadText:
    """A text as it was read."""

    genes: tuple[ReadGene, ...]
    canonical: str
    names: tuple[str, ...]
