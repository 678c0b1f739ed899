"""Names of one species that a reader could not tell apart.

A name counts here as the reader sees it (``normalised_name``) and with its meaning: the
genotype at each locus it speaks of. Two names may agree only if they mean the same, or if
they are looks of one locus, since a look can be shared ("Blue-Eyed Leucistic").
"""

import re
import unicodedata
from collections import Counter, defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from registry.catalogue.json_faults import Finding, pointer

WILD_TYPE = "+"

# Words with a meaning of their own in the notation; no name may consist of one alone.
GRAMMAR_WORDS = frozenset(
    {
        *("and", "copies", "copy", "dh", "double", "female", "for", "het", "het for"),
        *("heterozygous", "hets", "hom", "homozygous", "male", "none", "normal", "of", "or"),
        *("percent", "ph", "poss", "poss het", "possible", "possible het", "possibly"),
        *("proven", "quad", "quadruple", "single", "super", "supers", "triple", "unknown"),
        *("unproven", "visual", "wild", "wild type", "wildtype", "with", "x"),
    }
)
_COUNTS = re.compile(r"x ?\d+|\d+ ?x|\d+( ?\d+)*( percent)?")

Genotype = frozenset[tuple[str, tuple[str, str]]]


@dataclass(frozen=True, slots=True)
class Name:
    """One name in a file: its words, where it stands, what it is and what it means."""

    words: str
    place: str
    kind: str  # gene, alias, super name, look, nickname; "implied" for those nobody wrote
    title: str
    meaning: Genotype


def normalised_name(text: str) -> str:
    """The words of a name: case, punctuation and apostrophes gone, ``&`` read as "and"."""
    plain = unicodedata.normalize("NFKC", text).casefold().replace("&", " and ")
    plain = re.sub("['\u2019\u2018`\u00b4]", "", plain).replace("%", " percent ")
    return " ".join(re.sub(r"[\W_]+", " ", plain).split())


def genotype(genes: Sequence[str], content: Mapping[str, Any]) -> Genotype | None:
    """What a list of genes means: each in the form that shows, twice for two copies.

    None if a gene is unknown or a locus would hold more than two alleles.
    """
    loci = {a["gene"]: locus["key"] for locus in content["loci"] for a in locus["alleles"]}
    recessive = {
        a["gene"] for locus in content["loci"] for a in locus["alleles"] if a["mode"] == "recessive"
    }
    carried: dict[str, list[str]] = defaultdict(list)
    for gene in genes:
        if gene not in loci:
            return None
        carried[loci[gene]].append(gene)
    if any(len(alleles) > 2 for alleles in carried.values()):  # noqa: PLR2004 - an animal has two alleles
        return None
    return frozenset(
        (locus, _pair(alleles[0], alleles[-1]))
        if len(alleles) == 2  # noqa: PLR2004 - an animal has two alleles
        or alleles[0] in recessive
        else (locus, _pair(alleles[0], WILD_TYPE))
        for locus, alleles in carried.items()
    )


def name_findings(content: Mapping[str, Any]) -> list[Finding]:
    """Names that cannot be read, agree with another, or read as a combination as well."""
    names = [*_written_names(content)]
    findings = [*_unreadable(names)]
    by_words: dict[str, list[Name]] = defaultdict(list)
    for name in [*names, *_implied_names(content)]:
        for earlier in by_words[name.words]:
            if clash := _clash(earlier, name):
                findings.append(clash)
                break
        by_words[name.words].append(name)
    findings.extend(_combination_clashes(names))
    findings.extend(_left_out_clashes(by_words, content))
    return findings


def _pair(one: str, other: str) -> tuple[str, str]:
    first, second = sorted((one, other))
    return first, second


def _written_names(content: Mapping[str, Any]) -> Iterator[Name]:
    for i, locus in enumerate(content["loci"]):
        key = locus["key"]
        for j, allele in enumerate(locus["alleles"]):
            gene = allele["gene"]
            other = gene if allele["mode"] == "recessive" else WILD_TYPE
            shown: Genotype = frozenset({(key, _pair(gene, other))})
            doubled: Genotype = frozenset({(key, (gene, gene))})
            base = ("loci", i, "alleles", j)
            yield _name(gene, (*base, "gene"), "gene", shown)
            for k, alias in enumerate(allele.get("aliases", [])):
                yield _name(alias, (*base, "aliases", k), "alias", shown)
            for k, super_name in enumerate(allele.get("super_names", [])):
                yield _name(super_name, (*base, "super_names", k), "super name", doubled)
        for j, compound in enumerate(locus.get("compounds", [])):
            if compound["look"] is not None:
                both: Genotype = frozenset({(key, _pair(*compound["genes"]))})
                yield _name(compound["look"], ("loci", i, "compounds", j, "look"), "look", both)
    for i, nickname in enumerate(content.get("nicknames", [])):
        meaning = genotype(nickname["genes"], content)
        if meaning is not None:
            yield _name(nickname["name"], ("nicknames", i, "name"), "nickname", meaning)


def _implied_names(content: Mapping[str, Any]) -> Iterator[Name]:
    """``super x`` of every gene that shows in one copy and ``het x`` of every recessive."""
    for locus in content["loci"]:
        for allele in locus["alleles"]:
            gene = allele["gene"]
            word, other = ("het", WILD_TYPE) if allele["mode"] == "recessive" else ("super", gene)
            meaning: Genotype = frozenset({(locus["key"], _pair(gene, other))})
            for title in (gene, *allele.get("aliases", [])):
                yield _name(f"{word} {title}", (), "implied", meaning)


def _name(title: str, parts: tuple[str | int, ...], kind: str, meaning: Genotype) -> Name:
    return Name(normalised_name(title), pointer(parts), kind, title, meaning)


def _unreadable(names: Sequence[Name]) -> Iterator[Finding]:
    for name in names:
        if not name.words:
            yield name.place, f"found '{name.title}', expected a name with letters or digits"
        elif name.words in GRAMMAR_WORDS or _COUNTS.fullmatch(name.words):
            yield (
                name.place,
                (f"'{name.title}' has a meaning of its own in the notation, expected another name"),
            )


def _clash(earlier: Name, later: Name) -> Finding | None:
    if earlier.meaning == later.meaning:
        kinds = {earlier.kind, later.kind}
        if kinds != {"gene", "alias"} and (len(kinds) > 1 or kinds & {"implied", "look"}):
            return None
        return (
            later.place,
            f"the name '{later.title}' is given more than once (also {earlier.place})",
        )
    if earlier.kind == later.kind == "implied" or _shared_look(earlier, later):
        return None
    written, other = (earlier, later) if later.kind == "implied" else (later, earlier)
    if other.kind == "implied":
        return written.place, (
            f"'{written.title}' also reads as '{other.title}', which means something else"
        )
    return written.place, (
        f"the {written.kind} '{written.title}' reads the same as the {other.kind} "
        f"'{other.title}' ({other.place}) and means something else"
    )


def _shared_look(one: Name, other: Name) -> bool:
    """Two looks of one locus with the same words, which is one visible state."""
    kinds = {one.kind, other.kind}
    loci = {locus for locus, _ in one.meaning | other.meaning}
    if len(loci) != 1 or kinds & {"alias", "implied"} or kinds == {"gene"}:
        return False
    return kinds != {"gene", "super name"}


def _combination_clashes(names: Sequence[Name]) -> Iterator[Finding]:
    """Aliases, looks and nicknames that are also the names of two genes side by side.

    A gene's own name is exempt: the trade has such names and the longest match reads them.
    """
    genes = {n.words: n for n in names if n.kind in {"gene", "alias"}}
    for name in names:
        if name.kind == "gene":
            continue
        words = name.words.split()
        for cut in range(1, len(words)):
            parts = [genes.get(" ".join(half)) for half in (words[:cut], words[cut:])]
            if parts[0] is None or parts[1] is None:
                continue
            together = _together(parts[0], parts[1])
            if together is not None and together != name.meaning:
                yield (
                    name.place,
                    (
                        f"the {name.kind} '{name.title}' also reads as '{parts[0].title}' with "
                        f"'{parts[1].title}', which means something else"
                    ),
                )


def _together(one: Name, other: Name) -> Genotype | None:
    """Both names said of one animal; None if they speak of the same locus."""
    loci = Counter(locus for locus, _ in (*one.meaning, *other.meaning))
    return None if max(loci.values()) > 1 else one.meaning | other.meaning


def _left_out_clashes(
    by_words: Mapping[str, Sequence[Name]], content: Mapping[str, Any]
) -> Iterator[Finding]:
    for i, entry in enumerate(content.get("left_out", [])):
        for name in by_words.get(normalised_name(entry["name"]), [])[:1]:
            yield (
                pointer(("left_out", i, "name")),
                (
                    f"'{entry['name']}' is listed as left out and is also the {name.kind} "
                    f"'{name.title}' ({name.place})"
                ),
            )
