"""Every name a species has for genes and combinations, and what each can mean."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from enum import IntEnum
from weakref import WeakKeyDictionary

from genetics.errors import SpeciesFaultError
from genetics.model.genotype import WILD_PAIR
from genetics.model.locus import WILD, AllelePair, Locus
from genetics.model.species import Species
from genetics.model.statement import COPIES
from genetics.notation.text import Gap, tokens_of
from genetics.notation.words import MODIFIERS

Words = tuple[str, ...]
PairsKey = frozenset[tuple[str, AllelePair]]


class Kind(IntEnum):
    """Sort of a name, in the order in which trade names of one genotype are listed."""

    NICKNAME = 0
    LOOK = 1
    SUPER = 2
    ALIAS = 3
    GENE = 4


@dataclass(frozen=True, slots=True)
class Sense:
    """One meaning of a name.

    ``genes`` as in ``Nickname``. ``state`` is set where the name means a visible state that
    several genotypes share: (locus key, wording); ``genes`` are then all genes of these.
    """

    genes: tuple[str, ...]
    visible_genes: tuple[str, ...]
    is_series: bool = False
    state: tuple[str, str] | None = None

    @property
    def is_recessive(self) -> bool:
        return not self.visible_genes


@dataclass(frozen=True, slots=True)
class Name:
    """A name with its meanings as an animal's genes and as a look."""

    wording: str
    words: Words
    spans_joiners: bool
    senses: tuple[Sense, ...]
    look_senses: tuple[Sense, ...]


@dataclass(frozen=True, slots=True)
class NameIndex:
    """Names of one species. ``known_names`` are in ``normal_form``."""

    by_words: Mapping[Words, Name]
    longest: int
    known_names: frozenset[str]
    trade_names: Mapping[PairsKey, tuple[str, ...]]

    def nicknames_for(self, pairs: Mapping[str, AllelePair]) -> tuple[str, ...]:
        """Trade names of exactly this genotype: nicknames, compound looks, names of super forms.

        ``pairs`` is locus key -> alleles in the locus's order; wild type loci may be left out.
        """
        shown = frozenset((key, pair) for key, pair in pairs.items() if pair != WILD_PAIR)
        return self.trade_names.get(shown, ())


@dataclass(frozen=True, slots=True)
class _Entry:
    wording: str
    kind: Kind
    genes: tuple[str, ...]


_INDEXES: WeakKeyDictionary[Species, NameIndex] = WeakKeyDictionary()


def names_of(species: Species) -> NameIndex:
    """The names of a species, gathered once for each species object.

    Raises
    ------
    SpeciesFaultError
        Two genes with one name, a name without a word of its own (``super``, ``normal``, signs),
        an alias that calls a recessive gene het, a nickname with three alleles of one locus.
    """
    index = _INDEXES.get(species)
    if index is None:
        index = _INDEXES[species] = _gathered(species)
    return index


def pairs_of_genes(species: Species, genes: Iterable[str]) -> dict[str, AllelePair]:
    """Genotype of genes listed as in ``Nickname``, for the loci they sit at.

    Raises
    ------
    SpeciesFaultError
        Three alleles of one locus.
    """
    by_locus: dict[str, list[str]] = {}
    for gene in genes:
        by_locus.setdefault(species.locus_of[gene].key, []).append(gene)
    pairs = {}
    for key, listed in by_locus.items():
        if len(listed) > COPIES:
            raise SpeciesFaultError(f"{', '.join(listed)} are three alleles of one locus, {key}.")
        only = species.by_key[key].by_name[listed[0]]
        other = listed[-1] if len(listed) > 1 or not only.shows_in_one_copy else WILD
        pairs[key] = species.by_key[key].pair(listed[0], other)
    return pairs


def _gathered(species: Species) -> NameIndex:
    groups: dict[Words, list[_Entry]] = {}
    trade_names: dict[PairsKey, list[tuple[Kind, str]]] = {}
    for entry in _entries(species):
        groups.setdefault(_words(species, entry), []).append(entry)
        if entry.kind <= Kind.SUPER:
            key = frozenset(pairs_of_genes(species, entry.genes).items())
            trade_names.setdefault(key, []).append((entry.kind, entry.wording))
    by_words = {words: _name(species, words, group) for words, group in groups.items()}
    return NameIndex(
        by_words=by_words,
        longest=max(map(len, by_words), default=0),
        known_names=frozenset(map(" ".join, by_words)),
        trade_names={
            key: tuple(dict.fromkeys(name for _kind, name in sorted(named, key=lambda one: one[0])))
            for key, named in trade_names.items()
        },
    )


def _entries(species: Species) -> list[_Entry]:
    found = []
    for locus in species.loci:
        for allele in locus.alleles:
            gene = (allele.name,)
            found.append(_Entry(allele.name, Kind.GENE, gene))
            found.extend(_Entry(alias, Kind.ALIAS, gene) for alias in allele.aliases)
            found.extend(_Entry(name, Kind.SUPER, gene * 2) for name in allele.super_names)
        found.extend(
            _Entry(compound.look, Kind.LOOK, compound.alleles)
            for compound in locus.compounds
            if compound.look
        )
    found.extend(_Entry(name.name, Kind.NICKNAME, name.genes) for name in species.nicknames)
    return found


def _words(species: Species, entry: _Entry) -> Words:
    tokens = tokens_of(entry.wording)
    words = tuple(token.word for token in tokens)
    if not words or all((word,) in MODIFIERS for word in words) or words in MODIFIERS:
        raise SpeciesFaultError(
            f"{entry.wording!r} can not be a name in the {species.name}: it has no word of its own."
        )
    if any(token.chance is not None for token in tokens):
        raise SpeciesFaultError(
            f"{entry.wording!r} can not be a name in the {species.name}: it reads as a chance."
        )
    if words[0] == "het" and all(
        not species.allele(gene).shows_in_one_copy for gene in entry.genes
    ):
        raise SpeciesFaultError(
            f"{entry.wording!r} can not be a name in the {species.name}: it reads as one copy of "
            "a recessive gene."
        )
    return words


def _name(species: Species, words: Words, group: Sequence[_Entry]) -> Name:
    """One name from everything that is called so.

    A gene's own name means the gene alone, so that every genotype can be written: a look that
    is called after one of its genes has no other way to be told from it.
    """
    genes = [entry for entry in group if entry.kind is Kind.GENE]
    if len(genes) > 1:
        raise SpeciesFaultError(
            f"The {species.name} has two genes called {' '.join(words)!r}: "
            f"{genes[0].wording} and {genes[1].wording}."
        )
    by_meaning: dict[PairsKey, Sense] = {}
    for entry in genes or group:
        key = frozenset(pairs_of_genes(species, entry.genes).items())
        by_meaning.setdefault(key, _sense(species, entry.genes))
    senses = tuple(by_meaning.values())
    return Name(
        wording=(genes or group)[0].wording,
        words=words,
        spans_joiners=any(
            token.gap is not Gap.SOFT for entry in group for token in tokens_of(entry.wording)
        ),
        senses=senses,
        look_senses=senses if genes else _look_senses(species, words, senses),
    )


def _sense(species: Species, genes: tuple[str, ...]) -> Sense:
    place, locus_of = species.place_of, species.locus_of
    ordered = sorted(genes, key=lambda gene: (place[locus_of[gene].key], locus_of[gene].rank[gene]))
    distinct = set(genes)
    return Sense(
        genes=tuple(ordered),
        visible_genes=tuple(gene for gene in ordered if species.allele(gene).shows_in_one_copy),
        is_series=len({locus_of[gene].key for gene in distinct}) < len(distinct),
    )


def _look_senses(species: Species, words: Words, senses: tuple[Sense, ...]) -> tuple[Sense, ...]:
    """Meanings as a look: shared states of this name, and what lies outside them."""
    found = []
    covered: set[PairsKey] = set()
    for locus in species.loci:
        for wording, pairs in locus.states.items():
            if len(pairs) > 1 and tuple(token.word for token in tokens_of(wording)) == words:
                found.append(_state_sense(species, locus, wording, pairs))
                covered.update(frozenset([(locus.key, pair)]) for pair in pairs)
    outside = [
        sense
        for sense in senses
        if frozenset(pairs_of_genes(species, sense.genes).items()) not in covered
    ]
    return (*found, *outside)


def _state_sense(
    species: Species, locus: Locus, wording: str, pairs: Collection[AllelePair]
) -> Sense:
    genes = {allele for pair in pairs for allele in pair if allele in locus.by_name}
    ordered = tuple(sorted(genes, key=locus.rank.__getitem__))
    return Sense(
        genes=ordered,
        visible_genes=tuple(gene for gene in ordered if species.allele(gene).shows_in_one_copy),
        is_series=len(ordered) > 1,
        state=(locus.key, wording),
    )
